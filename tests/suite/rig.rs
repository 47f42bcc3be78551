//! Print queues of other people's making, private to a test: a printer that speaks IPP
//! (`ippeveprinter`) and a print server (`cupsd`), on loopback and in a folder that goes with them.

use std::fs;
use std::net::{TcpListener, TcpStream};
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

/// Turns of 10 ms until a program must be ready: a bound against hanging, not a measure.
const TURNS: u32 = 3000;
/// Starts on another port, when somebody has taken the one that was free.
const STARTS: u32 = 5;

/// A program of the rig. It is ended by its id when dropped, and by the system when the tests are killed.
struct Running {
    name: &'static str,
    child: Child,
    log: PathBuf,
}

/// A command of a program that dies with the thread that starts it (setpriv(1), `--pdeathsig`).
fn tied(name: &str, package: &str) -> Command {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders = std::env::split_paths(&path).chain(["/usr/sbin", "/sbin"].map(PathBuf::from));
    let program = folders.map(|folder| folder.join(name)).find(|file| file.is_file());
    let program = program.unwrap_or_else(|| panic!("found no {name}: install the Debian package {package}"));
    let mut command = Command::new("setpriv");
    command.args(["--pdeathsig", "KILL"]).arg(program);
    command
}

impl Running {
    fn start(name: &'static str, command: &mut Command, log: PathBuf) -> Self {
        let file = fs::File::create(&log).expect("a log can be made");
        let error = file.try_clone().expect("a log can be shared");
        command.stdin(Stdio::null()).stdout(file).stderr(error);
        let child = command.spawn().unwrap_or_else(|error| {
            panic!("setpriv cannot be started ({error}): install the Debian package util-linux")
        });
        Self { name, child, log }
    }

    fn said(&self) -> String {
        fs::read_to_string(&self.log).unwrap_or_default()
    }

    /// Waits until it is ready; false when it has ended before.
    fn ready(&mut self, ready: impl Fn() -> bool) -> bool {
        for _ in 0..TURNS {
            if self.child.try_wait().expect("a child can be asked").is_some() {
                return false;
            }
            if ready() {
                return true;
            }
            std::thread::sleep(Duration::from_millis(10));
        }
        panic!("{} runs and is not ready; it says: {}", self.name, self.said());
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A folder others may pass through: the print server's helpers run as another user. In the system's
/// temporary folder, because the path of a socket has 107 bytes at most (unix(7)).
fn folder() -> TempDir {
    let folder = tempfile::Builder::new().prefix("tapewright-queue").tempdir().expect("a temporary folder can be made");
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).expect("its mode can be set");
    folder
}

fn data(name: &str) -> PathBuf {
    crate::sources::root().join("tests/queue").join(name)
}

/// A port of loopback that is free now.
fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
    listener.local_addr().expect("its number").port()
}

fn answers(port: u16) -> bool {
    TcpStream::connect(("127.0.0.1", port)).is_ok()
}

/// Starts a program on a free port.
fn on_free_port(what: &str, start: impl Fn(u16) -> Running) -> (Running, u16) {
    let mut said = String::new();
    for _ in 0..STARTS {
        let port = free_port();
        let mut running = start(port);
        if running.ready(|| answers(port)) {
            return (running, port);
        }
        said = running.said();
    }
    panic!("{what} ended {STARTS} times instead of serving; the last one said: {said}");
}

/// A printer for one test.
pub(crate) struct Roll {
    port: u16,
    // Fields are dropped in this order.
    _printer: Running,
    _bus: Running,
    folder: TempDir,
}

impl Roll {
    /// Starts a printer that prints what `tests/queue/roll.conf` says.
    pub(crate) fn start() -> Self {
        let folder = folder();
        let path = folder.path();
        for name in ["received", "spool", "keys"] {
            fs::create_dir(path.join(name)).expect("a folder can be made");
        }
        // It asks for a system bus though it announces nothing (seen, 2.4): it gets one of its own.
        let socket = path.join("bus");
        let config = format!(
            "<!DOCTYPE busconfig PUBLIC \"-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN\" \
             \"http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd\">\n<busconfig><listen>unix:path={}</listen>\
             <auth>EXTERNAL</auth><policy context=\"default\"><allow send_destination=\"*\" eavesdrop=\"true\"/>\
             <allow receive_sender=\"*\"/><allow own=\"*\"/><allow user=\"*\"/></policy></busconfig>\n",
            socket.display()
        );
        fs::write(path.join("bus.conf"), config).expect("a file can be written");
        let mut command = tied("dbus-daemon", "dbus-daemon");
        command.arg(format!("--config-file={}", path.join("bus.conf").display())).args(["--nofork", "--nopidfile"]);
        let mut bus = Running::start("dbus-daemon", &mut command, path.join("bus.log"));
        assert!(bus.ready(|| socket.exists()), "dbus-daemon ended: {}", bus.said());
        let (printer, port) = on_free_port("ippeveprinter", |port| {
            let mut command = tied("ippeveprinter", "cups-ipp-utils");
            command
                .args(["-r", "off", "-n", "localhost", "-p", &port.to_string(), "-vv", "-a"])
                .arg(data("roll.conf"))
                .arg("-d")
                .arg(path.join("spool"))
                .arg("-K")
                .arg(path.join("keys"))
                .arg("-c")
                .arg(data("store.sh"))
                .arg("Playhouse Roll")
                .env("DBUS_SYSTEM_BUS_ADDRESS", format!("unix:path={}", socket.display()))
                .env("QUEUE", path);
            Running::start("ippeveprinter", &mut command, path.join("printer.log"))
        });
        Self { port, _printer: printer, _bus: bus, folder }
    }

    pub(crate) const fn port(&self) -> u16 {
        self.port
    }

    pub(crate) fn uri(&self) -> String {
        format!("ipp://localhost:{}/ipp/print", self.port)
    }

    /// Makes a file the print command waits for.
    pub(crate) fn give(&self, name: &str) {
        fs::write(self.folder.path().join(name), "").expect("a file can be written");
    }

    /// The documents it has received, in order, each with its settings: `IPP_…` lines.
    pub(crate) fn received(&self) -> Vec<(Vec<u8>, String)> {
        let folder = self.folder.path().join("received");
        let mut jobs: Vec<u32> = crate::program::files(&folder)
            .iter()
            .filter_map(|name| name.strip_suffix(".document")?.parse().ok())
            .collect();
        jobs.sort_unstable();
        let read = |name: String| fs::read(folder.join(name)).expect("a file of the print command");
        jobs.into_iter()
            .map(|job| {
                let settings = String::from_utf8_lossy(&read(format!("{job}.settings"))).into_owned();
                (read(format!("{job}.document")), settings)
            })
            .collect()
    }
}

/// A print server for one test, without queues.
pub(crate) struct Server {
    port: u16,
    _server: Running,
    folder: TempDir,
}

/// Programs of the print server that its queues need: folder, name, Debian package.
const PARTS: [(&str, &str, &str); 2] = [("backend", "ipp", "cups-daemon"), ("daemon", "cups-exec", "cups-daemon")];

impl Server {
    pub(crate) fn start() -> Self {
        let folder = folder();
        let path = folder.path();
        for name in ["etc/ppd", "etc/ssl", "spool/tmp", "cache", "run/certs", "log", "bin/backend", "bin/daemon"] {
            fs::create_dir_all(path.join(name)).expect("a folder can be made");
        }
        for name in ["bin/filter", "bin/driver", "bin/monitor", "bin/notifier", "bin/cgi-bin"] {
            fs::create_dir_all(path.join(name)).expect("a folder can be made");
        }
        for (part, name, package) in PARTS {
            let from = Path::new("/usr/lib/cups").join(part).join(name);
            assert!(from.is_file(), "found no {}: install the Debian package {package}", from.display());
            symlink(from, path.join("bin").join(part).join(name)).expect("a link can be made");
        }
        let backend = path.join("bin/backend/socket");
        fs::copy(data("socket.py"), &backend).expect("the backend can be copied");
        fs::set_permissions(&backend, fs::Permissions::from_mode(0o755)).expect("its mode can be set");
        let at = |name: &str| path.join(name).display().to_string();
        let files = format!(
            "ServerRoot {}\nServerBin {}\nDataDir /usr/share/cups\nRequestRoot {}\nTempDir {}\nCacheDir {}\nStateDir {}\n\
             ServerKeychain {}\nAccessLog {}\nErrorLog {}\nPageLog {}\nSystemGroup root\n",
            at("etc"),
            at("bin"),
            at("spool"),
            at("spool/tmp"),
            at("cache"),
            at("run"),
            at("etc/ssl"),
            at("log/access"),
            at("log/error"),
            at("log/page")
        );
        fs::write(path.join("etc/cups-files.conf"), files).expect("a file can be written");
        let (server, port) = on_free_port("cupsd", |port| {
            let config = format!(
                "Listen 127.0.0.1:{port}\nBrowsing Off\nDefaultAuthType None\nWebInterface No\nLogLevel debug\nMaxLogSize 0\n\
                 JobRetryInterval 1\nPreserveJobHistory Yes\nPreserveJobFiles No\nErrorPolicy stop-printer\n\
                 <Location />\n  Order allow,deny\n  Allow all\n</Location>\n\
                 <Location /admin>\n  Order allow,deny\n  Allow all\n</Location>\n\
                 <Policy default>\n  JobPrivateAccess all\n  JobPrivateValues none\n  SubscriptionPrivateAccess all\n  \
                 SubscriptionPrivateValues none\n  <Limit All>\n    Order allow,deny\n    Allow all\n  </Limit>\n</Policy>\n"
            );
            fs::write(path.join("etc/cupsd.conf"), config).expect("a file can be written");
            let mut command = tied("cupsd", "cups-daemon");
            command
                .arg("-f")
                .arg("-c")
                .arg(path.join("etc/cupsd.conf"))
                .arg("-s")
                .arg(path.join("etc/cups-files.conf"));
            Running::start("cupsd", &mut command, path.join("log/said"))
        });
        Self { port, _server: server, folder }
    }

    /// Its address without a queue.
    pub(crate) fn address(&self) -> String {
        format!("ipp://127.0.0.1:{}", self.port)
    }

    /// Adds a queue that passes documents on as they are; its address.
    pub(crate) fn queue(&self, name: &str, device: &str) -> String {
        let server = format!("127.0.0.1:{}", self.port);
        let output = tied("lpadmin", "cups-client")
            .args(["-h", &server, "-p", name, "-E", "-v", device])
            .stdin(Stdio::null())
            .output()
            .expect("setpriv starts");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success(), "lpadmin: {said}; the server says: {}", self.said());
        format!("{}/printers/{name}", self.address())
    }

    /// What the server noted, for messages.
    pub(crate) fn said(&self) -> String {
        let log = fs::read_to_string(self.folder.path().join("log/error")).unwrap_or_default();
        let lines: Vec<&str> = log.lines().collect();
        lines[lines.len().saturating_sub(40)..].join("\n")
    }
}
