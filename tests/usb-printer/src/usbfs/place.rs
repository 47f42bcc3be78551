//! Where the fake stands: name spaces, mounts and the files of sysfs.

use super::bus::Bus;
use super::fuse::serve;
use nix::errno::Errno;
use nix::mount::{MsFlags, mount};
use nix::sched::{CloneFlags, unshare};
use nix::sys::stat::{Mode, SFlag, mknod};
use std::fs::{self, File, Permissions};
use std::io;
use std::os::fd::AsRawFd;
use std::os::unix::fs::{FileTypeExt, MetadataExt, PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// Number of the bus.
pub(super) const BUS: u8 = 1;
/// Address of the first printer; the next ones follow.
const ADDRESS: usize = 5;

/// Name of a printer's node in the folder of the bus.
pub(super) fn node_name(nth: usize) -> String {
    format!("{:03}", ADDRESS + nth)
}

/// Name of a printer in sysfs: its socket.
fn socket(nth: usize) -> String {
    format!("{BUS}-{}", nth + 1)
}

fn sentence(what: impl std::fmt::Display) -> impl Fn(io::Error) -> io::Error {
    move |error| {
        let hint = match error.kind() {
            io::ErrorKind::PermissionDenied => "; the emulator needs root",
            io::ErrorKind::NotFound => "; the emulator needs a kernel with FUSE, and /dev/fuse",
            _ => "",
        };
        io::Error::new(error.kind(), format!("{what}: {error}{hint}"))
    }
}

fn mounted(source: &str, target: &Path, kind: &str, flags: MsFlags, data: &str) -> io::Result<()> {
    let result = mount(Some(source), target, Some(kind), flags, Some(data));
    result.map_err(|error| sentence(format!("mounting {kind} on {}", target.display()))(error.into()))
}

fn tmpfs(target: &Path) -> io::Result<()> {
    mounted("usb-printer", target, "tmpfs", MsFlags::empty(), "mode=755")
}

/// Takes this process, and those it will start, into a mount name space of its own, with an empty
/// `/sys/bus` and `/dev/bus`. Must be called before the first thread is started.
///
/// # Errors
/// The system refuses: it wants root.
pub fn enter() -> io::Result<()> {
    unshare(CloneFlags::CLONE_NEWNS).map_err(|error| sentence("taking a mount name space")(error.into()))?;
    mounted("none", Path::new("/"), "none", MsFlags::MS_REC | MsFlags::MS_PRIVATE, "")?;
    tmpfs(Path::new("/sys/bus"))?;
    if Path::new("/dev/bus").exists() {
        tmpfs(Path::new("/dev/bus"))?;
    } else {
        own_dev()?;
    }
    Ok(())
}

/// A `/dev` of our own with what the machine's holds: that one may be shared with the whole machine,
/// so no folder is made in it.
fn own_dev() -> io::Result<()> {
    let new = Path::new("/sys/bus/dev");
    fs::create_dir(new)?;
    tmpfs(new)?;
    for entry in fs::read_dir("/dev")? {
        let entry = entry?;
        let (from, to, kind) = (entry.path(), new.join(entry.file_name()), entry.file_type()?);
        if kind.is_symlink() {
            symlink(fs::read_link(&from)?, &to)?;
        } else if kind.is_dir() {
            fs::create_dir(&to)?;
            let bind = MsFlags::MS_BIND | MsFlags::MS_REC;
            mount(Some(&from), &to, None::<&str>, bind, None::<&str>)
                .map_err(|error| sentence("binding")(error.into()))?;
        } else if kind.is_char_device() || kind.is_block_device() {
            let meta = entry.metadata()?;
            let sort = if kind.is_char_device() { SFlag::S_IFCHR } else { SFlag::S_IFBLK };
            match mknod(&to, sort, Mode::from_bits_truncate(meta.mode()), meta.rdev()) {
                Ok(()) => fs::set_permissions(&to, Permissions::from_mode(meta.mode()))?,
                // A container may forbid some; what a program needs of them is missed loudly.
                Err(Errno::EPERM) => {}
                Err(error) => return Err(sentence(format!("making {}", to.display()))(error.into())),
            }
        }
    }
    mount(Some(new), "/dev", None::<&str>, MsFlags::MS_MOVE, None::<&str>)
        .map_err(|error| sentence("moving /dev")(error.into()))?;
    fs::remove_dir(new)
}

/// Shows the printers of a bus, and starts the thread that answers for them.
///
/// # Errors
/// `/dev/fuse` cannot be opened or mounted.
pub fn start(bus: &Arc<Mutex<Bus>>) -> io::Result<()> {
    let fuse = File::options().read(true).write(true).open("/dev/fuse").map_err(sentence("opening /dev/fuse"))?;
    fs::create_dir_all("/dev/bus/usb")?;
    let options = format!("fd={},rootmode=40000,user_id=0,group_id=0,allow_other", fuse.as_raw_fd());
    let flags = MsFlags::MS_NOSUID | MsFlags::MS_NODEV;
    mounted("usb-printer", Path::new("/dev/bus/usb"), "fuse.usb-printer", flags, &options)?;
    fs::create_dir_all("/sys/bus/usb/devices")?;
    // A libusb built with libudev wants the devices below /sys/devices; a folder nothing here needs
    // is covered for them.
    let covered = Path::new("/sys/devices/faux");
    let folder = if covered.exists() {
        tmpfs(covered)?;
        covered.to_owned()
    } else {
        PathBuf::from("/sys/bus/usb/real")
    };
    let locked = bus.lock().unwrap_or_else(PoisonError::into_inner);
    for nth in 0..locked.count() {
        let Some(mut model) = locked.printer(nth) else { continue };
        let (descriptors, ids, folder) = (model.sheet().descriptors(), model.sheet().ids(), folder.clone());
        let plug = move |inside: bool| {
            let done = if inside { appear(&folder, nth, &descriptors, ids) } else { vanish(&folder, nth) };
            done.map_err(sentence(format!("/sys/bus/usb/devices/{}", socket(nth))))
        };
        plug(true)?;
        model.plug = Some(Box::new(move |inside| plug(inside).expect("the files of sysfs can be changed")));
    }
    drop(locked);
    let (fuse, bus) = (Arc::new(fuse), Arc::clone(bus));
    std::thread::spawn(move || serve(&fuse, &bus));
    Ok(())
}

/// The files of a device that libusb reads (libusb 1.0.27, `linux_usbfs.c`, seen).
fn appear(folder: &Path, nth: usize, descriptors: &[u8], (vendor, product): (u16, u16)) -> io::Result<()> {
    let device = folder.join(socket(nth));
    fs::create_dir_all(&device)?;
    let address = ADDRESS + nth;
    let minor = address - 1;
    let event = format!(
        "MAJOR=189\nMINOR={minor}\nDEVNAME=bus/usb/{BUS:03}/{address:03}\nDEVTYPE=usb_device\nBUSNUM={BUS:03}\nDEVNUM={address:03}"
    );
    for (name, text) in [
        ("busnum", BUS.to_string()),
        ("devnum", address.to_string()),
        ("speed", "480".into()),
        ("bConfigurationValue", "1".into()),
        ("dev", format!("189:{minor}")),
        ("idVendor", format!("{vendor:04x}")),
        ("idProduct", format!("{product:04x}")),
        ("uevent", event),
    ] {
        fs::write(device.join(name), text + "\n")?;
    }
    fs::write(device.join("descriptors"), descriptors)?;
    symlink("/sys/bus/usb", device.join("subsystem"))?;
    symlink(&device, Path::new("/sys/bus/usb/devices").join(socket(nth)))
}

fn vanish(folder: &Path, nth: usize) -> io::Result<()> {
    fs::remove_file(Path::new("/sys/bus/usb/devices").join(socket(nth)))?;
    fs::remove_dir_all(folder.join(socket(nth)))
}
