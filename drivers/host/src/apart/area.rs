//! Memory that the program and a module's process both see: head lines on their way to the module,
//! and the stream on its way back. What lies here is not copied by the kernel; the pipes carry only
//! where it lies.
//!
//! Each area has one process that writes and one that reads. The program trusts nothing it reads:
//! a module may write to its area at any time, so the program takes a copy of bytes and never holds
//! a reference to them. Neither process can make an area shorter, which would end the other one at
//! its next look, and nothing but the program's own mapping can write to the head lines.
//!
//! Where a system has no such memory, or an old kernel does not seal it, there are no areas, and all
//! goes through the pipes.

#[cfg(not(target_os = "linux"))]
pub(super) use elsewhere::{Areas, Readable, Writable};
#[cfg(target_os = "linux")]
pub(super) use linux::{Areas, Readable, Writable};

/// Bytes of an area. Measured with 64 KiB to 2 MiB, the two processes on two processors: below, they
/// take turns too often; above, the memory is no longer near.
pub(super) const SIZE: usize = 1 << 20;

#[cfg(target_os = "linux")]
mod linux {
    use std::io;
    use std::ops::Range;
    use std::os::fd::{AsFd, AsRawFd, FromRawFd, OwnedFd, RawFd};
    use std::os::unix::process::CommandExt;
    use std::process::Command;
    use std::ptr::{self, NonNull};

    use rustix::fs::{MemfdFlags, SealFlags, fcntl_add_seals, fcntl_get_seals, ftruncate, memfd_create};
    use rustix::io::{FdFlags, fcntl_setfd};
    use rustix::mm::{MapFlags, ProtFlags, mmap, munmap};

    use super::SIZE;

    /// Both areas, as one of the two processes sees them.
    #[derive(Debug)]
    pub(in super::super) struct Areas<Lines, Stream> {
        pub(in super::super) lines: Lines,
        pub(in super::super) stream: Stream,
    }

    /// The open files of both areas, to be handed to a process that is started.
    #[derive(Debug)]
    pub(in super::super) struct Passed {
        lines: OwnedFd,
        stream: OwnedFd,
    }

    impl Areas<Writable, Readable> {
        /// New areas, in the program. `None`: the system offers none.
        pub(in super::super) fn new() -> Option<(Self, Passed)> {
            Self::sealed().ok()
        }

        fn sealed() -> io::Result<(Self, Passed)> {
            let file = || {
                let flags = MemfdFlags::CLOEXEC | MemfdFlags::ALLOW_SEALING;
                // Linux knows the third flag since 6.3.
                let file = memfd_create(c"tapewright", flags | MemfdFlags::NOEXEC_SEAL);
                let file = file.or_else(|_| memfd_create(c"tapewright", flags))?;
                ftruncate(&file, SIZE as u64).map(|()| file)
            };
            let (lines, stream) = (file()?, file()?);
            let areas = Areas { lines: Writable(Map::new(&lines, true)?), stream: Readable(Map::new(&stream, false)?) };
            // The mapping made above goes on writing (fcntl(2), F_SEAL_FUTURE_WRITE).
            fcntl_add_seals(&lines, LENGTH | SealFlags::FUTURE_WRITE)?;
            fcntl_add_seals(&stream, LENGTH)?;
            Ok((areas, Passed { lines, stream }))
        }
    }

    /// The length stays as it is, and so do the seals.
    const LENGTH: SealFlags = SealFlags::SHRINK.union(SealFlags::GROW).union(SealFlags::SEAL);

    impl Passed {
        /// Leaves the files open in the process that `command` starts, under the numbers returned:
        /// lines, stream. They are closed here with the command.
        pub(in super::super) fn through(self, command: &mut Command) -> (u32, u32) {
            let numbers = (self.lines.as_raw_fd().cast_unsigned(), self.stream.as_raw_fd().cast_unsigned());
            let keep = move || {
                fcntl_setfd(&self.lines, FdFlags::empty())?;
                fcntl_setfd(&self.stream, FdFlags::empty())?;
                Ok(())
            };
            // SAFETY: between fork and exec only what is safe in a signal handler may be called;
            // these are two fcntl(2), which is (signal-safety(7)), and nothing is allocated.
            unsafe { command.pre_exec(keep) };
            numbers
        }
    }

    impl Areas<Readable, Writable> {
        /// The areas that were left open for this process, in a module's process.
        ///
        /// # Errors
        ///
        /// When the numbers are not those of two areas, or they cannot be mapped.
        ///
        /// # Safety
        ///
        /// The numbers came from [`Passed::through`] in the program that started this process, and
        /// nothing else here uses them.
        pub(in super::super) unsafe fn open(lines: RawFd, stream: RawFd) -> io::Result<Self> {
            if lines < 3 || stream < 3 || lines == stream {
                return Err(io::Error::other("no numbers of open files"));
            }
            // SAFETY: the caller promises that they are open and nobody else's.
            let (lines, stream) = unsafe { (OwnedFd::from_raw_fd(lines), OwnedFd::from_raw_fd(stream)) };
            if !fcntl_get_seals(&lines)?.contains(LENGTH) || !fcntl_get_seals(&stream)?.contains(LENGTH) {
                return Err(io::Error::other("memory whose length is not sealed"));
            }
            Ok(Areas { lines: Readable(Map::new(&lines, false)?), stream: Writable(Map::new(&stream, true)?) })
        }
    }

    /// An area that this process writes, and nobody else.
    #[derive(Debug)]
    pub(in super::super) struct Writable(Map);

    impl Writable {
        /// Whether `bytes` stand at `range`.
        pub(in super::super) fn holds(&self, range: Range<usize>, bytes: &[u8]) -> bool {
            // SAFETY: the area is mapped while `self` lives. In the program, the seal keeps everyone
            // else from writing to it; in a module's process, the program has mapped it to be read.
            // This process writes through `&mut self` only.
            let all = unsafe { std::slice::from_raw_parts(self.0.at.as_ptr(), SIZE) };
            all.get(range) == Some(bytes)
        }

        /// Writes `bytes` at `start`.
        ///
        /// # Panics
        ///
        /// When they do not fit.
        pub(in super::super) fn write(&mut self, start: usize, bytes: &[u8]) {
            assert!(start <= SIZE && bytes.len() <= SIZE - start, "bytes beyond the end of an area");
            // SAFETY: the area is mapped to be written while `self` lives, and the bytes fit. They
            // lie elsewhere: no reference to the area leaves this module, but for `Readable::all`,
            // which is of another area.
            unsafe { ptr::copy_nonoverlapping(bytes.as_ptr(), self.0.at.as_ptr().add(start), bytes.len()) };
        }
    }

    /// An area that the other process writes.
    #[derive(Debug)]
    pub(in super::super) struct Readable(Map);

    impl Readable {
        /// Copies what lies at `start` now, as many bytes as `into` takes. `None`: the area is
        /// shorter. The bytes may be any, and may be others the next time.
        pub(in super::super) fn copy(&self, start: usize, into: &mut [u8]) -> Option<()> {
            SIZE.checked_sub(start).filter(|&most| into.len() <= most)?;
            // SAFETY: the area is mapped to be read while `self` lives, the bytes lie within, and
            // `into` is elsewhere. The other process may write meanwhile: no reference to the area
            // is made, the kernel keeps both mappings of the same length (the seals), and a byte
            // has no value that is wrong.
            unsafe { ptr::copy_nonoverlapping(self.0.at.as_ptr().add(start), into.as_mut_ptr(), into.len()) };
            Some(())
        }

        /// All of it, without a copy.
        ///
        /// # Safety
        ///
        /// While the slice lives, the other process does not write to the area.
        pub(in super::super) unsafe fn all(&self) -> &[u8] {
            // SAFETY: the area is mapped to be read while `self` lives; the caller promises that
            // nobody writes to it.
            unsafe { std::slice::from_raw_parts(self.0.at.as_ptr(), SIZE) }
        }
    }

    /// An area, mapped until it is dropped.
    #[derive(Debug)]
    struct Map {
        at: NonNull<u8>,
    }

    #[cfg(test)]
    impl Passed {
        pub(in super::super) fn files(self) -> (OwnedFd, OwnedFd) {
            (self.lines, self.stream)
        }
    }

    #[cfg(test)]
    pub(super) fn writable(file: &OwnedFd) -> io::Result<Writable> {
        Map::new(file, true).map(Writable)
    }

    // SAFETY: a mapping belongs to the process, not to a thread; what is done with it goes by the
    // borrows of `Writable` and `Readable`.
    unsafe impl Send for Map {}

    impl Map {
        fn new(file: &impl AsFd, write: bool) -> io::Result<Map> {
            let access = if write { ProtFlags::READ | ProtFlags::WRITE } else { ProtFlags::READ };
            // SAFETY: a new mapping at an address that the kernel chooses touches no memory in use.
            let at = unsafe { mmap(ptr::null_mut(), SIZE, access, MapFlags::SHARED, file, 0) }?;
            NonNull::new(at.cast()).map(|at| Map { at }).ok_or_else(|| io::Error::other("memory at no address"))
        }
    }

    impl Drop for Map {
        fn drop(&mut self) {
            // SAFETY: mapped by `new` with this length; nobody has it once its owner is dropped.
            let _ = unsafe { munmap(self.at.as_ptr().cast(), SIZE) };
        }
    }
}

// Miri has no memory files.
#[cfg(all(test, target_os = "linux", not(miri)))]
mod tests {
    use std::os::fd::IntoRawFd;

    use super::*;

    #[test]
    fn what_one_process_writes_the_other_reads() {
        let (mut here, passed) = Areas::new().expect("this needs Linux 5.1 or newer");
        let (lines, stream) = passed.files();
        // SAFETY: both were left open for this and belong to nobody else.
        let mut there =
            unsafe { Areas::<Readable, Writable>::open(lines.into_raw_fd(), stream.into_raw_fd()) }.unwrap();

        here.lines.write(SIZE - 3, b"row");
        assert!(here.lines.holds(SIZE - 3..SIZE, b"row") && !here.lines.holds(SIZE - 3..SIZE + 1, b"row"));
        // SAFETY: nothing is written to the lines below.
        assert!(unsafe { there.lines.all() }.ends_with(b"\0row"));

        there.stream.write(7, b"stream");
        let mut copy = [0; 6];
        assert_eq!(here.stream.copy(7, &mut copy), Some(()));
        assert_eq!(&copy, b"stream");
        for start in [SIZE - 5, SIZE, SIZE + 1, usize::MAX] {
            assert_eq!(here.stream.copy(start, &mut copy), None, "{start}");
        }
    }

    #[test]
    #[should_panic = "beyond the end of an area"]
    fn nothing_is_written_past_the_end() {
        Areas::new().expect("this needs Linux 5.1 or newer").0.lines.write(SIZE - 1, b"12");
    }

    /// What a module's process may try with the open files.
    #[test]
    fn the_other_process_cannot_change_the_lines_or_any_length() {
        use rustix::fs::{SealFlags, fcntl_add_seals, ftruncate};
        use rustix::io::Errno;
        let (_here, passed) = Areas::new().expect("this needs Linux 5.1 or newer");
        let (lines, stream) = passed.files();
        for (name, file) in [("lines", &lines), ("stream", &stream)] {
            for length in [0, SIZE - 1, SIZE + 1] {
                assert_eq!(ftruncate(file, length as u64), Err(Errno::PERM), "{name} to {length} bytes");
            }
            assert_eq!(fcntl_add_seals(file, SealFlags::WRITE), Err(Errno::PERM), "{name} sealed");
        }
        assert_eq!(rustix::io::write(&lines, b"x"), Err(Errno::PERM));
        let areas = linux::writable(&lines);
        assert!(areas.is_err(), "lines mapped to be written");
        linux::writable(&stream).expect("the stream is the module's to write");
    }

    #[test]
    fn files_that_are_no_areas_are_refused() {
        let file = || std::fs::File::open("/dev/zero").unwrap().into_raw_fd();
        // SAFETY: just opened, for this alone.
        let areas = unsafe { Areas::<Readable, Writable>::open(file(), file()) };
        assert!(areas.is_err(), "/dev/zero twice");
        // SAFETY: they are refused before they are used.
        let areas = unsafe { Areas::<Readable, Writable>::open(0, 1) };
        assert!(areas.is_err(), "standard input and output");
    }
}

#[cfg(not(target_os = "linux"))]
mod elsewhere {
    use std::convert::Infallible;
    use std::io;
    use std::ops::Range;
    use std::process::Command;

    /// There are none.
    #[derive(Debug)]
    pub(in super::super) struct Areas<Lines, Stream> {
        pub(in super::super) lines: Lines,
        pub(in super::super) stream: Stream,
    }

    #[derive(Debug)]
    pub(in super::super) struct Passed(Infallible);

    #[derive(Debug)]
    pub(in super::super) struct Writable(Infallible);

    #[derive(Debug)]
    pub(in super::super) struct Readable(Infallible);

    impl Areas<Writable, Readable> {
        pub(in super::super) fn new() -> Option<(Self, Passed)> {
            None
        }
    }

    impl Areas<Readable, Writable> {
        /// # Safety
        ///
        /// None is needed here.
        pub(in super::super) unsafe fn open(_: i32, _: i32) -> io::Result<Self> {
            Err(io::ErrorKind::Unsupported.into())
        }
    }

    impl Passed {
        pub(in super::super) fn through(self, _: &mut Command) -> (u32, u32) {
            match self.0 {}
        }
    }

    impl Writable {
        pub(in super::super) fn holds(&self, _: Range<usize>, _: &[u8]) -> bool {
            match self.0 {}
        }

        pub(in super::super) fn write(&mut self, _: usize, _: &[u8]) {
            match self.0 {}
        }
    }

    impl Readable {
        pub(in super::super) fn copy(&self, _: usize, _: &mut [u8]) -> Option<()> {
            match self.0 {}
        }

        /// # Safety
        ///
        /// None is needed here.
        pub(in super::super) unsafe fn all(&self) -> &[u8] {
            match self.0 {}
        }
    }
}
