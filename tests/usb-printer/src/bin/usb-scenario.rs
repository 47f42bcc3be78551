//! Plays a scenario over libusb, under `usb-printer`: `usb-scenario NAME`. Tells it on standard
//! output; ends with 1 and a sentence if it cannot be played.
#![forbid(unsafe_code)]

#[cfg(unix)]
fn main() -> std::process::ExitCode {
    unix::main()
}

#[cfg(not(unix))]
fn main() {
    eprintln!("usb-scenario: the emulator needs Linux");
    std::process::exit(125);
}

#[cfg(unix)]
mod unix {
    use std::io::{BufRead, BufReader, Write};
    use std::os::unix::net::UnixStream;
    use std::process::ExitCode;
    use tapewright_usb::{Claimed, Error, Printer, Selector, list};
    use tapewright_usb_emulator::scenario::{Bench, job, play};

    pub(super) fn main() -> ExitCode {
        let arguments: Vec<String> = std::env::args().skip(1).collect();
        let told = match arguments.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
            ["list"] => listed(),
            ["open", selector] => opened(selector),
            ["driver"] => driver(),
            ["busy"] => busy(),
            ["wait"] => wait(),
            [name] => play(name, &Real),
            other => Err(format!("found {} arguments, wanted the name of a scenario", other.len())),
        };
        match told {
            Ok(told) => {
                print!("{told}");
                ExitCode::SUCCESS
            }
            Err(error) => {
                eprintln!("{error}");
                ExitCode::FAILURE
            }
        }
    }

    /// The printer behind libusb.
    struct Real;

    impl Bench for Real {
        type Wire = Claimed;

        fn open(&self) -> Result<Printer<Claimed>, Error> {
            Printer::open(&Selector::Only)
        }

        fn tell(&self, line: &str) -> String {
            let path = std::env::var_os("USB_PRINTER_CONTROL").expect("usb-scenario runs under usb-printer");
            let mut stream = UnixStream::connect(path).expect("usb-printer listens");
            writeln!(stream, "{line}").expect("usb-printer listens");
            let mut answer = String::new();
            BufReader::new(stream).read_line(&mut answer).expect("usb-printer answers");
            let answer = answer.trim_end();
            assert!(!answer.is_empty() && !answer.starts_with("error: "), "{line}: {answer}");
            answer.to_owned()
        }
    }

    fn listed() -> Result<String, String> {
        let mut told = String::new();
        for found in list().map_err(|error| error.to_string())? {
            let id = found
                .device_id
                .as_ref()
                .map(|id| format!("{} by {}", id.model().unwrap_or("?"), id.manufacturer().unwrap_or("?")));
            let id = id.unwrap_or_else(|error| format!("no device id: {error}"));
            told += &format!("{found}; {}:{}; {:?}; {id}\n", found.bus, found.address, found.layout.protocol);
        }
        Ok(told)
    }

    fn opened(selector: &str) -> Result<String, String> {
        let opened = Selector::parse(selector).and_then(|selector| Printer::open(&selector));
        Ok(match opened {
            Ok(printer) => {
                format!("opened, status {:#04x}\n", printer.port_status().map_err(|error| error.to_string())?)
            }
            Err(error) => format!("{:?}: {error}\n", error.acts()),
        })
    }

    /// Who has the interface before, while and after we have it.
    fn driver() -> Result<String, String> {
        let who = || format!("driver {}, claimed {}\n", Real.tell("driver"), Real.tell("claimed"));
        let mut told = who();
        let listed = list().map_err(|error| error.to_string())?;
        told += &format!("{} listed, {}", listed.len(), who());
        let printer = Real.open().map_err(|error| error.to_string())?;
        told += &who();
        drop(printer);
        Ok(told + &who())
    }

    /// One write that outlasts an empty tape: someone loads more while it waits.
    fn wait() -> Result<String, String> {
        let mut printer = Real.open().map_err(|error| error.to_string())?;
        let loads = std::thread::spawn(|| {
            while Real.tell("waits") == "no" {
                std::thread::yield_now();
            }
            Real.tell("resume")
        });
        let written = printer.write(&job(), std::time::Duration::from_secs(60));
        written.map_err(|failure| failure.to_string())?;
        loads.join().map_err(|_| "the one who loads tape failed".to_owned())?;
        Ok("wrote\n".into())
    }

    /// Two at a time; the second looks around meanwhile.
    fn busy() -> Result<String, String> {
        let mut first = Real.open().map_err(|error| error.to_string())?;
        let second = Real.open().err().ok_or("two programs opened one printer")?;
        let seen = list().map_err(|error| error.to_string())?;
        let id = seen[0].device_id.as_ref().map_or_else(ToString::to_string, |id| id.model().unwrap_or("?").to_owned());
        first.write(b"still ours", std::time::Duration::from_secs(20)).map_err(|error| error.to_string())?;
        drop(first);
        let third = Real.open().map(|_| "opened once it is free");
        Ok(format!("{second}\n{id}\n{}\n", third.map_err(|error| error.to_string())?))
    }
}
