//! The program's side of a module's process.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{ChildStdin, ChildStdout, Command, ExitStatus, Stdio};

use super::Apart;
use super::area::{Areas, Readable, Writable};
use super::frame::{self, MARK, NoMessage};
use super::message::{Answer, Request};
use super::module::expect_done;
use super::watch::Watch;
use crate::HostError;

/// The areas as the program sees them.
pub(super) type Shared = Areas<Writable, Readable>;

/// A module's process, and the way to it.
#[derive(Debug)]
pub(super) struct Process {
    module: String,
    apart: Apart,
    watch: Watch,
    requests: ChildStdin,
    answers: ChildStdout,
    body: Vec<u8>,
    /// Once lost it stays so, and says why again.
    lost: Option<HostError>,
}

impl Process {
    pub(super) fn start(name: &str, path: &Path, folders: &[PathBuf], apart: &Apart) -> Result<Process, HostError> {
        Process::spawn(name, path, &mut command(path, folders, apart), apart)
    }

    /// As [`Process::start`], with memory that both processes see, where the system has such.
    pub(super) fn start_sharing(
        name: &str,
        path: &Path,
        folders: &[PathBuf],
        apart: &Apart,
    ) -> Result<(Process, Option<Shared>), HostError> {
        let Some((areas, passed)) = Areas::new() else {
            return Ok((Process::start(name, path, folders, apart)?, None));
        };
        let mut command = command(path, folders, apart);
        let (lines, stream) = passed.through(&mut command);
        let mut process = Process::spawn(name, path, &mut command, apart)?;
        process.ask(&Request::Share { lines, stream })?;
        expect_done(&mut process)?;
        Ok((process, Some(areas)))
    }

    fn spawn(name: &str, path: &Path, command: &mut Command, apart: &Apart) -> Result<Process, HostError> {
        let refuse = |problem: String| HostError::Load { path: path.to_owned(), problem };
        let mut child = command.spawn().map_err(|error| refuse(format!("its process cannot be started: {error}")))?;
        let (Some(requests), Some(answers)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(refuse("its process has no way in or out".into()));
        };
        widen(&requests);
        widen(&answers);
        Ok(Process {
            module: name.to_owned(),
            apart: apart.clone(),
            watch: Watch::new(child),
            requests,
            answers,
            body: Vec::new(),
            lost: None,
        })
    }

    pub(super) fn id(&self) -> u32 {
        self.watch.id()
    }

    /// # Errors
    ///
    /// Why the process is lost, if it is.
    pub(super) fn check(&self) -> Result<(), HostError> {
        self.lost.clone().map_or(Ok(()), Err)
    }

    /// Sends a request; the answers come out of [`Process::answer`].
    pub(super) fn ask(&mut self, request: &Request<'_>) -> Result<(), HostError> {
        self.check()?;
        self.watch.arm(self.apart.patience);
        let (head, bytes) = request.body();
        let sent = frame::write(&mut self.requests, &[], &head, bytes).and_then(|()| self.requests.flush());
        self.watch.disarm();
        sent.map_err(|_| self.ended())
    }

    /// The next answer. `Failed` comes out as the error it carries.
    pub(super) fn answer(&mut self) -> Result<Answer<'_>, HostError> {
        self.check()?;
        self.watch.arm(self.apart.patience);
        let read = frame::read(&mut self.answers, &MARK, &mut self.body);
        self.watch.disarm();
        match read {
            Ok(()) => {}
            Err(NoMessage::End) => return Err(self.ended()),
            Err(NoMessage::Rubbish(bytes)) => return Err(self.rubbish(&bytes)),
        }
        // Read twice: the borrow of the first would last as long as the answer that is returned.
        if Answer::read(&self.body).is_none() {
            let first = self.body[..self.body.len().min(8)].to_vec();
            return Err(self.rubbish(&first));
        }
        match Answer::read(&self.body) {
            Some(Answer::Failed(error)) => Err(error),
            Some(answer) => Ok(answer),
            None => Err(HostError::Misuse { what: "an answer that was there is not".into() }),
        }
    }

    /// An answer that does not belong here.
    pub(super) fn out_of_order(&mut self, answer: &'static str) -> HostError {
        let error = HostError::Broken {
            module: self.module.clone(),
            what: format!("its process answered `{answer}` where that does not belong"),
        };
        self.lost.insert(error).clone()
    }

    /// Ends the process.
    pub(super) fn give_up(&mut self, how: &str) {
        self.watch.kill();
        self.lost = Some(HostError::Died { module: self.module.clone(), how: how.to_owned() });
    }

    fn rubbish(&mut self, bytes: &[u8]) -> HostError {
        let error = HostError::Broken {
            module: self.module.clone(),
            what: format!(
                "it wrote `{}` to standard output, wanted nothing: a driver does no output of its own",
                bytes.escape_ascii()
            ),
        };
        self.lost.insert(error).clone()
    }

    fn ended(&mut self) -> HostError {
        let how = match self.watch.end(self.apart.patience) {
            None => format!("it did not answer within {} s and was stopped", self.apart.patience.as_secs_f32()),
            Some(Ok(status)) => describe(status),
            Some(Err(error)) => format!("its process was lost: {error}"),
        };
        self.lost.insert(HostError::Died { module: self.module.clone(), how }).clone()
    }
}

fn command(path: &Path, folders: &[PathBuf], apart: &Apart) -> Command {
    let mut command = Command::new(&apart.program);
    command.args(&apart.arguments).arg(path).args(folders).stdin(Stdio::piped()).stdout(Stdio::piped());
    command
}

/// Makes a pipe hold more, so that the two processes take turns less often: each turn wakes a
/// processor. Where the system does not allow it, all works as before.
#[cfg(target_os = "linux")]
fn widen(pipe: &impl std::os::fd::AsFd) {
    // What an ordinary user may have (pipe(7), /proc/sys/fs/pipe-max-size).
    const PIPE: usize = 1 << 20;
    let _ = rustix::pipe::fcntl_setpipe_size(pipe, PIPE);
}

#[cfg(not(target_os = "linux"))]
fn widen<P>(_pipe: &P) {}

#[cfg(unix)]
fn describe(status: ExitStatus) -> String {
    use std::os::unix::process::ExitStatusExt;
    // Numbers that are the same on every Unix (POSIX.1-2017, kill; SIGBUS differs).
    let name = |signal| match signal {
        4 => " (illegal instruction)",
        6 => " (abort)",
        8 => " (arithmetic fault)",
        9 => " (kill)",
        11 => " (segmentation fault)",
        15 => " (termination)",
        _ => "",
    };
    match (status.signal(), status.code()) {
        (Some(signal), _) => format!("its process was ended by signal {signal}{}", name(signal)),
        (None, Some(code)) => format!("its process ended by itself with code {code}"),
        (None, None) => format!("its process ended: {status}"),
    }
}

#[cfg(not(unix))]
fn describe(status: ExitStatus) -> String {
    format!("its process ended: {status}")
}
