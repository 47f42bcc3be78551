//! A printer family as its file describes it.

use std::time::Duration;

use tapewright_kit::{Capabilities, CutKind, Fault, LearnedDescription, LearnedOption, LearnedOptionKind};

use crate::item::{self, Form, Item, Number};
use crate::node::{self, Node, Table};
use crate::quantity::{Named, Quantity, Scope};
use crate::row::{Order, Unused};
use crate::status::{self, Question};
use crate::{packbits, unique};

/// The commands a family may have; a command without items is not sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Command {
    JobStart,
    StripStart,
    Line,
    Blank,
    HalfCut,
    FullCut,
    EndCut,
    StripEnd,
    JobEnd,
    Cancel,
    Ask,
}

impl Command {
    pub(crate) const COUNT: usize = 11;

    pub(crate) const ALL: [(&str, Command); Command::COUNT] = [
        ("job-start", Command::JobStart),
        ("strip-start", Command::StripStart),
        ("line", Command::Line),
        ("blank", Command::Blank),
        ("half-cut", Command::HalfCut),
        ("full-cut", Command::FullCut),
        ("end-cut", Command::EndCut),
        ("strip-end", Command::StripEnd),
        ("job-end", Command::JobEnd),
        ("cancel", Command::Cancel),
        ("ask", Command::Ask),
    ];

    pub(crate) fn word(self) -> &'static str {
        Command::ALL[self as usize].0
    }

    /// Whether a quantity is known when this command is sent.
    fn knows(self, scope: Scope) -> bool {
        match self {
            Command::JobStart | Command::JobEnd | Command::Cancel | Command::Ask => scope == Scope::Job,
            Command::StripStart | Command::StripEnd => scope <= Scope::Strip,
            Command::HalfCut | Command::FullCut | Command::EndCut => scope <= Scope::Line,
            Command::Line => scope <= Scope::Data,
            Command::Blank => scope <= Scope::Line || scope == Scope::Blank,
        }
    }
}

/// How cuts of a kind are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Telling {
    /// Not at all.
    Never,
    /// By a command between lines.
    Between,
    /// In a list at the start of the strip.
    Listed,
}

/// How the dots of a line are packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Packing {
    None,
    PackBits,
}

/// After so many bytes the printer needs time, or says that it has room again.
#[derive(Debug, Clone)]
pub(crate) struct Pace {
    pub(crate) bytes: usize,
    pub(crate) pause: Pause,
}

#[derive(Debug, Clone)]
pub(crate) enum Pause {
    Wait(Duration),
    Acknowledge { reply: Vec<u8>, time_out: Duration },
}

/// A family.
#[derive(Debug)]
pub(crate) struct Language {
    pub(crate) description: LearnedDescription,
    pub(crate) reads_back: bool,
    pub(crate) order: Order,
    /// Thousandths of a dot per inch.
    pub(crate) dpi_across: Vec<u32>,
    pub(crate) dpi_along: Vec<u32>,
    pub(crate) longest_strip: u32,
    /// The device feeds the lead by itself: its lines are not sent.
    pub(crate) feeds_lead: bool,
    /// Every strip ends with a cut, told or not.
    pub(crate) always_cuts: bool,
    pub(crate) packing: Packing,
    pub(crate) most_blank: u32,
    pub(crate) half_cuts: Telling,
    pub(crate) full_cuts: Telling,
    pub(crate) pace: Option<Pace>,
    pub(crate) question: Option<Question>,
    /// For each option the numbers of its choices.
    pub(crate) codes: Vec<Vec<i64>>,
    commands: [Vec<Item>; Command::COUNT],
}

impl Language {
    pub(crate) fn items(&self, command: Command) -> &[Item] {
        &self.commands[command as usize]
    }

    pub(crate) fn has(&self, command: Command) -> bool {
        !self.items(command).is_empty()
    }
}

/// Reads the text of a family's file.
///
/// # Errors
///
/// A fault with the line and the key, what was found and what was wanted.
pub(crate) fn read(text: &str) -> Result<Language, Fault> {
    let tree = node::parse(text)?;
    let table = Node::file(text, &tree).table(&[
        "family",
        "title",
        "description",
        "version",
        "readback",
        "head",
        "line",
        "cuts",
        "send",
        "option",
        "device",
        "pace",
        "status",
    ])?;
    let mut description = LearnedDescription {
        family: table.want("family")?.id()?,
        title: table.want("title")?.title()?,
        description: table.want("description")?.title()?,
        version: table.get("version").map_or_else(|| Ok(env!("CARGO_PKG_VERSION").to_owned()), Node::title)?,
        ..LearnedDescription::default()
    };
    let mut codes = Vec::new();
    if let Some(options) = table.get("option") {
        for node in few(options)? {
            let place = node.clone();
            let (option, values) = read_option(node)?;
            if description.options.iter().any(|known| known.id == option.id) {
                return Err(place.mistake(format!("found option {} twice, wanted it once", option.id)));
            }
            description.options.push(option);
            codes.push(values);
        }
    }
    if let Some(devices) = table.get("device") {
        for node in few(devices)? {
            let device = node.table(&["key", "value"])?;
            description.patterns.push((device.want("key")?.title()?, device.want("value")?.title()?));
        }
    }
    let head = table.want("head")?.clone().table(&["dots", "dpi-across", "dpi-along", "longest-strip", "lead"])?;
    let line =
        table.want("line")?.clone().table(&["first-bit", "first-dot", "unused-dots", "packing", "most-blank"])?;
    let order = Order {
        dots: head.want("dots")?.count(1, 65_535)?,
        last_first: line.want("first-dot")?.word(&[("first", false), ("last", true)])?,
        low_bit_first: line.want("first-bit")?.word(&[("high", false), ("low", true)])?,
        unused: line.get("unused-dots").map_or(Ok(Unused::After), |node| {
            node.word(&[("after", Unused::After), ("before", Unused::Before), ("both", Unused::Both)])
        })?,
    };
    let always_cuts = match table.get("cuts") {
        Some(cuts) => {
            let cuts = cuts.clone().table(&["end"])?;
            cuts.want("end")?.word(&[("command", false), ("always", true)])?
        }
        None => false,
    };
    let options: Vec<String> = description.options.iter().map(|option| option.id.clone()).collect();
    let commands = read_commands(&table, &options)?;
    let mut language = Language {
        reads_back: table.get("readback").map_or(Ok(false), Node::yes_no)?,
        order,
        dpi_across: dpi(head.want("dpi-across")?)?,
        dpi_along: dpi(head.want("dpi-along")?)?,
        longest_strip: head.get("longest-strip").map_or(Ok(u32::MAX), |node| node.count(1, u32::MAX))?,
        feeds_lead: head
            .get("lead")
            .map_or(Ok(false), |node| node.word(&[("sent", false), ("fed-by-printer", true)]))?,
        always_cuts,
        packing: line
            .get("packing")
            .map_or(Ok(Packing::None), |node| node.word(&[("none", Packing::None), ("packbits", Packing::PackBits)]))?,
        most_blank: 0,
        half_cuts: Telling::Never,
        full_cuts: Telling::Never,
        pace: None,
        question: table.get("status").map(|node| status::read(node.clone())).transpose()?,
        codes,
        commands,
        description,
    };
    check_commands(&mut language, &table, &line)?;
    if let Some(pace) = table.get("pace") {
        language.pace = Some(read_pace(pace.clone(), &language)?);
    }
    if language.reads_back {
        let send = table.want("send")?;
        let places = send.entries()?;
        unique::check(&language).map_err(|(command, what)| {
            let place = places.iter().find(|(word, _)| *word == command.word()).map_or(send, |(_, node)| node);
            place.mistake(format!("readback = true, but {what}"))
        })?;
    }
    language.description.capabilities = Capabilities {
        half_cuts: language.half_cuts != Telling::Never,
        inner_cuts: language.full_cuts != Telling::Never,
        reads_replies: language.question.is_some()
            || matches!(&language.pace, Some(Pace { pause: Pause::Acknowledge { .. }, .. })),
    };
    Ok(language)
}

/// A list that a person could read. The host takes a family with far more for a mistake.
fn few<'a>(node: &Node<'a>) -> Result<Vec<Node<'a>>, Fault> {
    const MOST: usize = 100;
    let list = node.list()?;
    if list.len() > MOST {
        return Err(node.mistake(format!("found {} of them, wanted at most {MOST}", list.len())));
    }
    Ok(list)
}

fn dpi(node: &Node<'_>) -> Result<Vec<u32>, Fault> {
    let list = node.list()?.iter().map(|part| part.thousandths(10_000_000)).collect::<Result<Vec<_>, _>>()?;
    if list.is_empty() {
        return Err(node.mistake("found an empty list, wanted at least one resolution in dots per inch"));
    }
    Ok(list)
}

fn read_option(node: Node<'_>) -> Result<(LearnedOption, Vec<i64>), Fault> {
    let table = node.table(&["id", "kind", "help", "default", "least", "most", "choices", "codes"])?;
    let id = table.want("id")?.id()?;
    let help = table.want("help")?.title()?;
    let default = table.want("default")?;
    let only = |keys: &[&str], kind: &str| match keys.iter().find_map(|key| table.get(key)) {
        Some(node) => Err(node.mistake(format!("found beside kind = \"{kind}\", which does not use it"))),
        None => Ok(()),
    };
    let (kind, default, codes) = match table.want("kind")?.word(&[("yes-no", 0), ("number", 1), ("choice", 2)])? {
        0 => {
            only(&["least", "most", "choices", "codes"], "yes-no")?;
            (LearnedOptionKind::Bool, default.yes_no()?.to_string(), Vec::new())
        }
        1 => {
            only(&["choices", "codes"], "number")?;
            let most = i64::from(u32::MAX);
            let min = table.want("least")?.whole(-most, most)?;
            let max = table.want("most")?.whole(min, most)?;
            (LearnedOptionKind::Int { min, max }, default.whole(min, max)?.to_string(), Vec::new())
        }
        _ => {
            only(&["least", "most"], "choice")?;
            let list = table.want("choices")?;
            let choices = few(list)?.iter().map(Node::id).collect::<Result<Vec<_>, _>>()?;
            if (1..choices.len()).any(|at| choices[..at].contains(&choices[at])) || choices.is_empty() {
                return Err(list.mistake("wanted at least one choice, and none twice"));
            }
            let codes = match table.get("codes") {
                None => (0..).take(choices.len()).collect(),
                Some(node) => {
                    let list = node.list()?;
                    if list.len() != choices.len() {
                        return Err(node.mistake(format!("found {} codes for {} choices", list.len(), choices.len())));
                    }
                    list.iter().map(|code| code.whole(0, u32::MAX.into())).collect::<Result<_, _>>()?
                }
            };
            let words: Vec<(&str, ())> = choices.iter().map(|choice| (choice.as_str(), ())).collect();
            default.word(&words)?;
            (LearnedOptionKind::Choice(choices), default.as_text().unwrap_or_default().to_owned(), codes)
        }
    };
    Ok((LearnedOption { id, kind, default, help }, codes))
}

fn read_commands(file: &Table<'_>, options: &[String]) -> Result<[Vec<Item>; Command::COUNT], Fault> {
    let known: Vec<&str> = Command::ALL.iter().map(|(word, _)| *word).filter(|word| *word != "ask").collect();
    let send = file.want("send")?.clone().table(&known)?;
    let mut commands: [Vec<Item>; Command::COUNT] = Default::default();
    for (word, command) in Command::ALL {
        if command == Command::Ask {
            let Some(status) = file.get("status") else { continue };
            let entries = status.entries()?;
            let Some((_, ask)) = entries.iter().find(|(key, _)| *key == "ask") else {
                return Err(status.mistake("found no key ask, wanted one"));
            };
            commands[command as usize] = read_command(ask, command, options)?;
            continue;
        }
        if let Some(node) = send.get(word) {
            commands[command as usize] = read_command(node, command, options)?;
        }
    }
    send.want("line")?;
    Ok(commands)
}

fn read_command(node: &Node<'_>, command: Command, options: &[String]) -> Result<Vec<Item>, Fault> {
    let items = item::read(node, options)?;
    if items.is_empty() {
        return Err(node.mistake("found an empty list, wanted bytes; leave the key out to send nothing"));
    }
    let unknown = |number: &Number, known: &dyn Fn(Scope) -> bool| match number.quantity {
        Quantity::Named(name) if !known(number.quantity.scope()) => Err(node.mistake(format!(
            "found {}, which is not known in {}, wanted another number",
            name.word(),
            command.word()
        ))),
        _ => Ok(()),
    };
    let mut lists = 0;
    for item in &items {
        match item {
            Item::Bytes(_) => {}
            Item::Number(number) => unknown(number, &|scope| command.knows(scope))?,
            Item::Data if command != Command::Line => {
                return Err(node.mistake(format!("found data in {}, wanted it in line only", command.word())));
            }
            Item::Data => {}
            Item::Wait(_) if matches!(command, Command::Line | Command::Blank | Command::Ask) => {
                return Err(node.mistake(format!(
                    "found wait-ms in {}, wanted it elsewhere; see pace and status",
                    command.word()
                )));
            }
            Item::Wait(_) => {}
            Item::Each(_, inner) => {
                lists += 1;
                if command != Command::StripStart || lists > 1 {
                    return Err(node
                        .mistake(format!("found each in {}, wanted it at most once, in strip-start", command.word())));
                }
                for item in inner {
                    if let Item::Number(number) = item {
                        unknown(number, &|scope| scope <= Scope::Line)?;
                    }
                }
            }
        }
    }
    if command == Command::Line && items.iter().filter(|item| **item == Item::Data).count() != 1 {
        return Err(node.mistake("wanted { put = \"data\" } exactly once: where the dots of the line go"));
    }
    if command == Command::Ask && items.iter().any(|item| !matches!(item, Item::Bytes(_))) {
        return Err(node.mistake("found more than bytes and texts, wanted nothing else in a question"));
    }
    Ok(items)
}

/// What must fit together, and what follows from the commands.
fn check_commands(language: &mut Language, file: &Table<'_>, line: &Table<'_>) -> Result<(), Fault> {
    let send = file.want("send")?.clone().table(&Command::ALL.map(|(word, _)| word))?;
    let place = |word: &str| send.get(word).unwrap_or_else(|| send.node());
    let listed = |kind: CutKind| {
        language.items(Command::StripStart).iter().any(|item| matches!(item, Item::Each(found, _) if *found == kind))
    };
    let telling = |kind, command: Command| match (listed(kind), language.has(command)) {
        (true, true) => Err(place(command.word()).mistake(
            "found beside a list of the same cuts in strip-start, wanted one of the two; or end-cut for the last one",
        )),
        (true, false) => Ok(Telling::Listed),
        (false, true) => Ok(Telling::Between),
        (false, false) => Ok(Telling::Never),
    };
    let half_cuts = telling(CutKind::Half, Command::HalfCut)?;
    let full_cuts = telling(CutKind::Full, Command::FullCut)?;
    if language.always_cuts && language.has(Command::EndCut) {
        return Err(place("end-cut").mistake("found beside cuts.end = \"always\", wanted one of the two"));
    }
    let counts: Vec<Number> = numbers(language.items(Command::Blank), Named::Count);
    let most = match line.get("most-blank") {
        Some(node) if !language.has(Command::Blank) => {
            return Err(node.mistake("found without a blank command, wanted one in send, or no most-blank"));
        }
        Some(node) => Some((node, node.count(1, u32::MAX)?)),
        None => None,
    };
    let fits = counts.iter().map(|number| greatest_count(*number)).min().unwrap_or(1);
    if fits == 0 {
        return Err(place("blank").mistake("found a field too small for a count of 1"));
    }
    if let Some((node, most)) = most
        && most > fits
    {
        return Err(node.mistake(format!("found {most}, wanted at most the {fits} that the blank command can say")));
    }
    for number in numbers(language.items(Command::Line), Named::Bytes) {
        let longest = longest_data(language);
        if number.of(i64::try_from(longest).unwrap_or(i64::MAX)) > number.most() {
            return Err(place("line").mistake(format!(
                "found a field for bytes that holds up to {}, but a line takes up to {longest} bytes",
                number.most()
            )));
        }
    }
    language.half_cuts = half_cuts;
    language.full_cuts = full_cuts;
    language.most_blank = most.map_or(fits, |(_, most)| most);
    Ok(())
}

/// The numbers of a command, those for each cut left aside, that carry a quantity.
pub(crate) fn numbers(items: &[Item], name: Named) -> Vec<Number> {
    let number = |item: &Item| match item {
        Item::Number(number) if number.quantity == Quantity::Named(name) => Some(*number),
        _ => None,
    };
    items.iter().filter_map(number).collect()
}

fn greatest_count(number: Number) -> u32 {
    if number.of(1) < 0 || number.of(1) > number.most() {
        return 0;
    }
    // `of` never falls, so the greatest that fits is found by halving.
    let (mut fits, mut fails) = (1u64, u64::from(u32::MAX) + 1);
    while fails - fits > 1 {
        let middle = u64::midpoint(fits, fails);
        if number.of(i64::try_from(middle).unwrap_or(i64::MAX)) <= number.most() {
            fits = middle
        } else {
            fails = middle
        }
    }
    u32::try_from(fits).unwrap_or(u32::MAX)
}

/// Most bytes of the dots of a line.
pub(crate) fn longest_data(language: &Language) -> usize {
    match language.packing {
        Packing::None => language.order.bytes(),
        Packing::PackBits => packbits::longest(language.order.bytes()),
    }
}

fn read_pace(node: Node<'_>, language: &Language) -> Result<Pace, Fault> {
    let table = node.table(&["bytes", "wait-ms", "acknowledge", "time-out-ms"])?;
    let bytes_node = table.want("bytes")?;
    let bytes = bytes_node.count(1, 1 << 30)? as usize;
    let longest: usize = language
        .items(Command::Line)
        .iter()
        .map(|item| match item {
            Item::Bytes(bytes) => bytes.len(),
            Item::Number(Number { form: Form::Big(count) | Form::Little(count) | Form::Digits(count, _), .. }) => {
                *count
            }
            Item::Data => longest_data(language),
            Item::Wait(_) | Item::Each(..) => 0,
        })
        .sum();
    if bytes < longest {
        return Err(bytes_node.mistake(format!("found {bytes}, wanted at least the {longest} bytes a line can take")));
    }
    let pause = match (table.get("wait-ms"), table.get("acknowledge")) {
        (Some(wait), None) => {
            if let Some(time) = table.get("time-out-ms") {
                return Err(time.mistake("found without acknowledge, wanted it beside acknowledge only"));
            }
            Pause::Wait(Duration::from_millis(wait.count(1, 600_000)?.into()))
        }
        (None, Some(reply)) => Pause::Acknowledge {
            reply: reply.hex()?,
            time_out: Duration::from_millis(table.want("time-out-ms")?.count(1, 600_000)?.into()),
        },
        _ => return Err(table.node().mistake("wanted either wait-ms or acknowledge")),
    };
    Ok(Pace { bytes, pause })
}
