//! From a job to a stream.

use std::collections::VecDeque;
use std::sync::Arc;

use tapewright_kit::{Cut, CutKind, DeviceStatus, Driver, Fault, Job, LearnedOptionKind, LogLevel, Out, Strip};

use crate::frame::{Frame, is_blank};
use crate::item::{Item, Rendered};
use crate::language::{Command, Language, Packing, Pause, Telling, numbers};
use crate::packbits;
use crate::quantity::{Named, Values, nearest};
use crate::row::Moves;
use crate::status::{Needed, hex};

/// The state of a job. Holds one command at a time, whatever the length of the strip.
#[derive(Debug)]
pub(crate) struct Encoder {
    language: Arc<Language>,
    values: Values,
    moves: Moves,
    line_bytes: usize,
    needed: Needed,
    /// Of the strip going on.
    lines: u32,
    at: u32,
    /// Lines of the lead that the device feeds by itself.
    skipped: u32,
    /// Cuts to be told between lines, the next one last.
    cuts: Vec<Cut>,
    end_cut: bool,
    /// Blank lines not sent yet.
    blank: u32,
    /// What stands before and after the dots of a line, when that is the same for all lines.
    frame: Option<Frame>,
    rendered: Rendered,
    row: Vec<u8>,
    packed: Vec<u8>,
    /// Bytes since the last pause.
    since_pause: usize,
    expected: VecDeque<Expected>,
    busy_left: u32,
    status: DeviceStatus,
    told_silence: bool,
    /// Something of this job was put out, so that the printer may stand in the middle of it.
    begun: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expected {
    Status,
    Acknowledgement,
}

impl Encoder {
    pub(crate) fn new(language: Arc<Language>) -> Encoder {
        let moves = language.order.to_stream(language.order.dots);
        Encoder {
            language,
            values: Values::new(),
            moves,
            line_bytes: 1,
            needed: Needed::default(),
            lines: 0,
            at: 0,
            skipped: 0,
            cuts: Vec::new(),
            end_cut: false,
            blank: 0,
            frame: None,
            rendered: Rendered::default(),
            row: Vec::new(),
            packed: Vec::new(),
            since_pause: 0,
            expected: VecDeque::new(),
            busy_left: 0,
            status: DeviceStatus::default(),
            told_silence: false,
            begun: false,
        }
    }

    /// Lets the printer rest when `bytes` more would be too many since the last pause.
    fn pace(&mut self, bytes: usize, out: &mut Out) {
        let Some(pace) = &self.language.pace else { return };
        if self.since_pause > 0 && self.since_pause + bytes > pace.bytes {
            match &pace.pause {
                Pause::Wait(time) => out.wait(*time),
                Pause::Acknowledge { reply, time_out } => {
                    self.expected.push_back(Expected::Acknowledgement);
                    out.wait_reply(u32::try_from(reply.len()).unwrap_or(u32::MAX), *time_out);
                }
            }
            self.since_pause = 0;
        }
        self.since_pause += bytes;
    }

    /// Sends a command; nothing when the family does not have it.
    fn send(&mut self, command: Command, cuts: &[Cut], data: &[u8], out: &mut Out) -> Result<(), Fault> {
        let language = Arc::clone(&self.language);
        self.rendered.clear();
        self.rendered.put(language.items(command), &mut self.values, cuts, data)?;
        self.pace(self.rendered.bytes.len(), out);
        let mut sent = 0;
        for (at, time) in &self.rendered.waits {
            out.extend(&self.rendered.bytes[sent..*at]);
            out.wait(*time);
            sent = *at;
        }
        out.extend(&self.rendered.bytes[sent..]);
        Ok(())
    }

    fn ask(&mut self, out: &mut Out) -> Result<(), Fault> {
        let language = Arc::clone(&self.language);
        let Some(question) = &language.question else { return Ok(()) };
        self.send(Command::Ask, &[], &[], out)?;
        self.expected.push_back(Expected::Status);
        out.wait_reply(question.reply_bytes, question.time_out);
        Ok(())
    }

    /// Sends the blank lines that were held back.
    fn flush_blank(&mut self, out: &mut Out) -> Result<(), Fault> {
        while self.blank > 0 {
            let count = self.blank.min(self.language.most_blank);
            self.values.set(Named::Count, count);
            self.values.set(Named::Line, self.at - self.blank);
            self.send(Command::Blank, &[], &[], out)?;
            self.blank -= count;
        }
        Ok(())
    }

    /// The line before which something is to be told next; beyond the strip when nothing is.
    fn next_cut(&self) -> u32 {
        self.cuts.last().map_or(u32::MAX, |cut| cut.line)
    }

    /// Tells the cuts before the next line.
    fn send_cuts(&mut self, out: &mut Out) -> Result<(), Fault> {
        while self.next_cut() == self.at {
            let Some(cut) = self.cuts.pop() else { return Ok(()) };
            self.flush_blank(out)?;
            self.values.set(Named::Line, cut.line);
            let command = if cut.kind == CutKind::Half { Command::HalfCut } else { Command::FullCut };
            self.send(command, &[], &[], out)?;
        }
        Ok(())
    }

    /// Sends one line of the head.
    fn send_row(&mut self, line: &[u8], out: &mut Out) -> Result<(), Fault> {
        let mut row = std::mem::take(&mut self.row);
        let result = if self.moves.is_copy(line.len()) {
            self.send_data(line, out)
        } else {
            self.moves.row(line, &mut row);
            self.send_data(&row, out)
        };
        self.row = row;
        result
    }

    /// Sends lines in one block, up to the first blank one where those are held back; the first
    /// is not. How many they were: at least 1.
    fn send_block(&mut self, rows: &[u8], frame: &mut Frame, holds_blank: bool, out: &mut Out) -> usize {
        let record = frame.record_bytes();
        let mut most = frame.records();
        if let Some(pace) = &self.language.pace {
            let room = pace.bytes.saturating_sub(self.since_pause) / record;
            // Without room the pause below makes some; `pace` holds a line at least.
            most = most.min(if room == 0 { pace.bytes / record } else { room }).max(1);
        }
        let count = frame.fill(rows, self.line_bytes, &self.moves, most, holds_blank);
        self.pace(count * record, out);
        out.extend(frame.bytes(count));
        count
    }

    fn send_data(&mut self, row: &[u8], out: &mut Out) -> Result<(), Fault> {
        self.values.set(Named::Line, self.at);
        if self.language.packing == Packing::None {
            self.values.set(Named::Bytes, signed(row.len()));
            return self.send(Command::Line, &[], row, out);
        }
        let mut packed = std::mem::take(&mut self.packed);
        packed.clear();
        packbits::encode(row, &mut packed);
        self.values.set(Named::Bytes, signed(packed.len()));
        let result = self.send(Command::Line, &[], &packed, out);
        self.packed = packed;
        result
    }

    fn send_lines(
        &mut self,
        mut rows: &[u8],
        holds_blank: bool,
        mut frame: Option<&mut Frame>,
        out: &mut Out,
    ) -> Result<(), Fault> {
        let line_bytes = self.line_bytes;
        while !rows.is_empty() {
            self.send_cuts(out)?;
            let until_cut = (self.next_cut() - self.at) as usize;
            let now = &rows[..rows.len().min(until_cut.saturating_mul(line_bytes))];
            let mut done = self.skipped.saturating_sub(self.at) as usize;
            done = done.min(now.len() / line_bytes);
            if done == 0 && holds_blank {
                done = now.chunks_exact(line_bytes).take_while(|row| is_blank(row)).count();
                self.blank += u32::try_from(done).unwrap_or(u32::MAX);
            }
            if done == 0 {
                self.flush_blank(out)?;
                done = match &mut frame {
                    Some(frame) => self.send_block(now, frame, holds_blank, out),
                    None => {
                        self.send_row(&now[..line_bytes], out)?;
                        1
                    }
                };
            }
            self.at += u32::try_from(done).unwrap_or(u32::MAX);
            rows = &rows[done * line_bytes..];
        }
        Ok(())
    }

    /// What stands around the dots, when no line differs in it from another.
    fn make_frame(&mut self) -> Result<Option<Frame>, Fault> {
        let language = Arc::clone(&self.language);
        let items = language.items(Command::Line);
        if language.packing != Packing::None || !numbers(items, Named::Line).is_empty() {
            return Ok(None);
        }
        self.values.set(Named::Bytes, signed(language.order.bytes()));
        let at = items.iter().position(|item| *item == Item::Data).unwrap_or(0);
        let mut part = |items: &[Item]| {
            let mut rendered = Rendered::default();
            rendered.put(items, &mut self.values, &[], &[]).map(|()| rendered.bytes)
        };
        let (before, after) = (part(&items[..at])?, part(&items[at + 1..])?);
        Ok(Some(Frame::new(&before, language.order.bytes(), &after)))
    }

    fn check_cuts(&self, strip: &Strip<'_>) -> Result<(), Fault> {
        let language = &self.language;
        let family = &language.description.family;
        let at_end = ends_with_cut(strip);
        if language.always_cuts && !at_end {
            return Err(Fault::unsupported(format!(
                "{family} cuts at the end of every strip, found none there in strip {}; give the printer profile a full cutter",
                strip.index + 1
            )));
        }
        for cut in strip.cuts {
            let is_end = cut.kind == CutKind::Full && cut.line == strip.lines;
            if is_end && (language.always_cuts || language.has(Command::EndCut)) {
                continue;
            }
            let (telling, name) = match cut.kind {
                CutKind::Half => (language.half_cuts, "half cuts"),
                CutKind::Full => (language.full_cuts, "full cuts inside a strip"),
            };
            if telling == Telling::Never {
                return Err(Fault::unsupported(format!(
                    "{family} cannot carry {name}, found one at line {} of strip {}; choose another way to part labels in the printer profile",
                    cut.line,
                    strip.index + 1
                )));
            }
            if telling == Telling::Between && language.feeds_lead && cut.line < strip.lead_lines {
                return Err(Fault::unsupported(format!(
                    "{family} feeds the lead by itself and cannot cut in it, found a cut at line {} of strip {}, wanted it at {} or later",
                    cut.line,
                    strip.index + 1,
                    strip.lead_lines
                )));
            }
        }
        Ok(())
    }

    fn status_reply(&mut self, bytes: &[u8], out: &mut Out) -> Result<(), Fault> {
        let language = Arc::clone(&self.language);
        let Some(question) = &language.question else { return Ok(()) };
        if bytes.is_empty() {
            self.hear_nothing(out);
            return Ok(());
        }
        let answer = question.read(bytes, &self.needed)?;
        self.status = answer.status;
        if let Some(fault) = answer.fault {
            return Err(fault);
        }
        if !self.status.busy {
            return Ok(());
        }
        // The question is the last of its step, so that what comes now comes behind it.
        let Some(left) = self.busy_left.checked_sub(1) else {
            return Err(Fault::device(format!(
                "the printer is still busy after {} questions; wait until it is done and send the job again",
                question.busy_tries + 1
            ))
            .with_retry());
        };
        self.busy_left = left;
        out.wait(question.busy_wait);
        self.ask(out)
    }

    fn acknowledged(&mut self, bytes: &[u8], out: &mut Out) -> Result<(), Fault> {
        let Some(Pause::Acknowledge { reply, .. }) = self.language.pace.as_ref().map(|pace| &pace.pause) else {
            return Ok(());
        };
        if bytes == reply {
            return Ok(());
        }
        if bytes.is_empty() {
            self.hear_nothing(out);
            return Ok(());
        }
        Err(Fault::device(format!(
            "the printer answers {} to a piece of the job, wanted {}; see what it shows and send the job again",
            hex(bytes),
            hex(reply)
        ))
        .with_retry())
    }

    /// A link that cannot answer is no fault; whoever watches is told once.
    fn hear_nothing(&mut self, out: &mut Out) {
        if !self.told_silence {
            self.told_silence = true;
            out.log(
                LogLevel::Info,
                "the printer did not answer, or the link cannot; the job goes on without its state",
            );
        }
    }
}

fn ends_with_cut(strip: &Strip<'_>) -> bool {
    strip.cuts.last().is_some_and(|cut| cut.kind == CutKind::Full && cut.line == strip.lines)
}

fn signed(length: usize) -> i64 {
    i64::try_from(length).unwrap_or(i64::MAX)
}

fn check_dpi(family: &str, which: &str, found: u32, known: &[u32]) -> Result<(), Fault> {
    if known.contains(&found) {
        return Ok(());
    }
    let dpi = |milli: u32| {
        let text = format!("{}.{:03}", milli / 1000, milli % 1000);
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    let known: Vec<String> = known.iter().map(|milli| dpi(*milli)).collect();
    Err(Fault::unsupported(format!(
        "{family} does not print {} dpi {which}, wanted {}; correct the printer profile",
        dpi(found),
        known.join(" or ")
    )))
}

impl Driver for Encoder {
    fn begin_job(&mut self, job: &Job<'_>, out: &mut Out) -> Result<(), Fault> {
        self.begun = false;
        let language = Arc::clone(&self.language);
        let family = &language.description.family;
        let head = language.order.dots;
        if job.dots > head {
            return Err(Fault::limit(format!(
                "{family} has a head of {head} dots, found lines of {}; correct head_dots in the printer profile",
                job.dots
            )));
        }
        check_dpi(family, "across", job.dpi_across_milli, &language.dpi_across)?;
        check_dpi(family, "along", job.dpi_along_milli, &language.dpi_along)?;
        self.moves = language.order.to_stream(job.dots);
        self.line_bytes = job.bytes_per_line;
        let width_um = job.stock.width_um.unwrap_or(0);
        self.needed = Needed { width_um, kind: job.stock.kind.to_owned(), title: job.stock.title.to_owned() };
        self.values = Values::new();
        for (name, value) in [
            (Named::Strips, job.strips.unwrap_or(0).into()),
            (Named::Dots, job.dots.into()),
            (Named::LineBytes, signed(language.order.bytes())),
            (Named::Dpi, nearest(job.dpi_along_milli)),
            (Named::DpiAcross, nearest(job.dpi_across_milli)),
            (Named::DpiAlong, nearest(job.dpi_along_milli)),
            (Named::WidthMm, nearest(width_um)),
            (Named::WidthUm, width_um.into()),
            (Named::TapeDots, job.stock.web_dots.into()),
            (Named::TapeFirstDot, job.stock.web_first_dot.into()),
        ] {
            self.values.set(name, value);
        }
        for (option, codes) in language.description.options.iter().zip(&language.codes) {
            self.values.options.push(match &option.kind {
                LearnedOptionKind::Bool => job.options.bool(&option.id).into(),
                LearnedOptionKind::Int { .. } => job.options.int(&option.id),
                LearnedOptionKind::Text => 0,
                LearnedOptionKind::Choice(choices) => {
                    let chosen = job.options.text(&option.id);
                    let index = choices.iter().position(|choice| choice == chosen).unwrap_or(0);
                    codes.get(index).copied().unwrap_or(0)
                }
            });
        }
        self.blank = 0;
        self.cuts.clear();
        self.since_pause = 0;
        self.expected.clear();
        self.status = DeviceStatus::default();
        self.told_silence = false;
        self.begun = true;
        self.send(Command::JobStart, &[], &[], out)?;
        if let Some(question) = language.question.as_ref().filter(|question| question.at_job_start) {
            self.busy_left = question.busy_tries;
            self.ask(out)?;
        }
        Ok(())
    }

    fn begin_strip(&mut self, strip: &Strip<'_>, out: &mut Out) -> Result<(), Fault> {
        let language = Arc::clone(&self.language);
        self.skipped = if language.feeds_lead { strip.lead_lines } else { 0 };
        let sent = strip.lines - self.skipped;
        if sent > language.longest_strip {
            return Err(Fault::limit(format!(
                "{} takes strips of up to {} lines, found {sent} in strip {}; set max_strip_mm in the printer profile",
                language.description.family,
                language.longest_strip,
                strip.index + 1
            )));
        }
        self.check_cuts(strip)?;
        self.end_cut = ends_with_cut(strip) && language.has(Command::EndCut);
        // What neither the end of the strip nor its own command stands for.
        let mut told = strip.cuts.to_vec();
        if ends_with_cut(strip) && (language.always_cuts || language.has(Command::EndCut)) {
            told.pop();
        }
        let count = |kind| signed(told.iter().filter(|cut| cut.kind == kind).count());
        for (name, value) in [
            (Named::Strip, i64::from(strip.index) + 1),
            (Named::Lines, strip.lines.into()),
            (Named::LeadLines, strip.lead_lines.into()),
            (Named::TrailLines, strip.trail_lines.into()),
            (Named::SentLines, sent.into()),
            (Named::Labels, strip.labels.into()),
            (Named::HalfCuts, count(CutKind::Half)),
            (Named::FullCuts, count(CutKind::Full)),
        ] {
            self.values.set(name, value);
        }
        self.send(Command::StripStart, &told, &[], out)?;
        self.lines = strip.lines;
        self.at = 0;
        self.blank = 0;
        told.retain(|cut| {
            let telling = if cut.kind == CutKind::Half { language.half_cuts } else { language.full_cuts };
            telling == Telling::Between
        });
        told.reverse();
        self.cuts = told;
        self.frame = self.make_frame()?;
        Ok(())
    }

    fn lines(&mut self, rows: &[u8], _count: u32, out: &mut Out) -> Result<(), Fault> {
        let holds_blank = self.language.has(Command::Blank);
        let mut frame = self.frame.take();
        let result = self.send_lines(rows, holds_blank, frame.as_mut(), out);
        self.frame = frame;
        result
    }

    fn blank(&mut self, mut count: u32, out: &mut Out) -> Result<(), Fault> {
        let holds_blank = self.language.has(Command::Blank);
        let row = vec![0; if holds_blank { 0 } else { self.line_bytes }];
        while count > 0 {
            self.send_cuts(out)?;
            let mut now = count.min(self.next_cut() - self.at);
            if self.at < self.skipped {
                now = now.min(self.skipped - self.at);
                self.at += now;
            } else if holds_blank {
                self.blank += now;
                self.at += now;
            } else {
                now = 1;
                self.send_row(&row, out)?;
                self.at += 1;
            }
            count -= now;
        }
        Ok(())
    }

    fn end_strip(&mut self, out: &mut Out) -> Result<(), Fault> {
        let language = Arc::clone(&self.language);
        self.send_cuts(out)?;
        self.flush_blank(out)?;
        if self.end_cut {
            self.values.set(Named::Line, self.lines);
            self.send(Command::EndCut, &[], &[], out)?;
        }
        self.send(Command::StripEnd, &[], &[], out)?;
        if let Some(question) = language.question.as_ref().filter(|question| question.at_strip_end) {
            self.busy_left = question.busy_tries;
            self.ask(out)?;
        }
        Ok(())
    }

    fn end_job(&mut self, out: &mut Out) -> Result<(), Fault> {
        self.send(Command::JobEnd, &[], &[], out)?;
        self.begun = false;
        Ok(())
    }

    fn cancel(&mut self, out: &mut Out) -> Result<(), Fault> {
        self.expected.clear();
        self.blank = 0;
        self.cuts.clear();
        if !self.begun {
            return Ok(());
        }
        self.begun = false;
        // What follows a broken job must not wait for the printer.
        self.since_pause = 0;
        self.send(Command::Cancel, &[], &[], out)
    }

    fn reply(&mut self, bytes: &[u8], out: &mut Out) -> Result<(), Fault> {
        match self.expected.pop_front() {
            Some(Expected::Status) => self.status_reply(bytes, out),
            Some(Expected::Acknowledgement) => self.acknowledged(bytes, out),
            None => Ok(()),
        }
    }

    fn status(&self) -> DeviceStatus {
        self.status.clone()
    }
}
