//! Runs a program with an emulated USB printer plugged in: `usb-printer [OPTION...] -- COMMAND...`,
//! see README.md.
#![forbid(unsafe_code)]

#[cfg(target_os = "linux")]
fn main() -> std::process::ExitCode {
    linux::main()
}

#[cfg(not(target_os = "linux"))]
fn main() {
    eprintln!("usb-printer: the emulator needs Linux");
    std::process::exit(125);
}

#[cfg(target_os = "linux")]
mod linux {
    use std::fs::File;
    use std::io::{self, BufRead, BufReader, Write};
    use std::os::unix::net::{UnixListener, UnixStream};
    use std::os::unix::process::ExitStatusExt;
    use std::path::PathBuf;
    use std::process::{Command, ExitCode};
    use std::sync::{Arc, Mutex, PoisonError};
    use tapewright_usb_emulator::usbfs::{Bus, enter, start};
    use tapewright_usb_emulator::{Model, Options, Shared, Sheet};

    /// What ends the emulator itself, apart from what programs use.
    const FAILED: u8 = 125;

    pub(super) fn main() -> ExitCode {
        match run() {
            Ok(code) => ExitCode::from(code),
            Err(error) => {
                eprintln!("usb-printer: {error}");
                ExitCode::from(FAILED)
            }
        }
    }

    fn run() -> Result<u8, String> {
        let options = Options::parse(std::env::args().skip(1))?;
        let (program, arguments) = options.command.split_first().ok_or("found no command, wanted one after --")?;
        let sink: Box<dyn Write + Send> = match &options.out {
            Some(path) => Box::new(File::create(path).map_err(|error| format!("{}: {error}", path.display()))?),
            None => Box::new(io::sink()),
        };
        enter().map_err(|error| error.to_string())?;
        let first = Model::new(options.sheet.clone(), options.faults.clone(), sink);
        let plain = (2..=options.printers).map(|nth| Model::new(Sheet::new(nth), Vec::new(), Box::new(io::sink())));
        let printers = std::iter::once(first).chain(plain).take(options.printers).map(Shared::new).collect();
        let bus = Arc::new(Mutex::new(Bus::new(printers)));
        if options.printers > 0 {
            start(&bus).map_err(|error| error.to_string())?;
        }

        let socket = Socket::place().map_err(|error| format!("control socket: {error}"))?;
        let listener = UnixListener::bind(&socket.0).map_err(|error| format!("{}: {error}", socket.0.display()))?;
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let bus = Arc::clone(&bus);
                std::thread::spawn(move || obey(&stream, &bus));
            }
        });
        let mut command = Command::new(program);
        command.args(arguments).env("USB_PRINTER_CONTROL", &socket.0);
        // A libusb built with libudev would not take a tmpfs for sysfs otherwise (systemd, from memory).
        command.env("SYSTEMD_DEVICE_VERIFY_SYSFS", "0");
        let status = command.status().map_err(|error| format!("{program}: {error}"))?;
        // As a shell tells the end by a signal.
        let code = status.code().unwrap_or_else(|| 128 + status.signal().unwrap_or(0));
        Ok(u8::try_from(code).unwrap_or(u8::MAX))
    }

    /// The control socket in a folder of its own, removed at the end.
    struct Socket(PathBuf);

    impl Socket {
        fn place() -> io::Result<Self> {
            let folder = std::env::temp_dir().join(format!("usb-printer-{}", std::process::id()));
            std::fs::create_dir(&folder)?;
            Ok(Self(folder.join("control")))
        }
    }

    impl Drop for Socket {
        fn drop(&mut self) {
            if let Some(folder) = self.0.parent() {
                // Nothing depends on it being gone.
                let _ = std::fs::remove_dir_all(folder);
            }
        }
    }

    /// Obeys what comes over the socket, a line at a time.
    fn obey(stream: &UnixStream, bus: &Mutex<Bus>) {
        for line in BufReader::new(stream).lines().map_while(Result::ok) {
            let answer = bus.lock().unwrap_or_else(PoisonError::into_inner).obey(&line);
            let answer = answer.unwrap_or_else(|error| format!("error: {error}"));
            if writeln!({ stream }, "{answer}").is_err() {
                return;
            }
        }
    }
}
