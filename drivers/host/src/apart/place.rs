//! Where the two processes stand while they take turns.
//!
//! One of them works while the other waits, and what one has written the other reads next. On two
//! processors every such line of memory goes from cache to cache, which costs more than all the rest
//! of having two processes; on one processor it is where it was. The system does not know that they
//! take turns and wakes the other one elsewhere if a processor is idle. So the program stays where it
//! is for the length of a turn, and the module's process comes there. Between turns the program may
//! be moved like any other. Threads that either of them starts during a turn inherit its place; none
//! does. Where the system has no such calls all works as before.

#[cfg(target_os = "linux")]
use rustix::thread::{CpuSet, sched_getaffinity, sched_getcpu, sched_setaffinity};

/// The calling thread stays on the processor it is on, until this is dropped.
#[derive(Debug)]
pub(super) struct Stay {
    /// Where it may be otherwise.
    #[cfg(target_os = "linux")]
    elsewhere: Option<CpuSet>,
    processor: Option<u32>,
}

impl Stay {
    /// The processor, as [`come_to`] takes it.
    pub(super) fn processor(&self) -> Option<u32> {
        self.processor
    }
}

#[cfg(target_os = "linux")]
impl Stay {
    pub(super) fn here() -> Self {
        let away = Self { elsewhere: None, processor: None };
        // Systems with more processors than a set holds refuse it.
        let Ok(elsewhere) = sched_getaffinity(None) else { return away };
        let here = sched_getcpu();
        match u32::try_from(here) {
            Ok(processor) if come_to(processor) => Self { elsewhere: Some(elsewhere), processor: Some(processor) },
            _ => away,
        }
    }
}

#[cfg(target_os = "linux")]
impl Drop for Stay {
    fn drop(&mut self) {
        if let Some(elsewhere) = &self.elsewhere {
            let _ = sched_setaffinity(None, elsewhere);
        }
    }
}

/// Moves the calling thread to a processor, where it stays; whether it could.
#[cfg(target_os = "linux")]
pub(super) fn come_to(processor: u32) -> bool {
    let Some(processor) = usize::try_from(processor).ok().filter(|&one| one < CpuSet::MAX_CPU) else { return false };
    let mut only = CpuSet::new();
    only.set(processor);
    sched_setaffinity(None, &only).is_ok()
}

#[cfg(not(target_os = "linux"))]
impl Stay {
    pub(super) fn here() -> Self {
        Self { processor: None }
    }
}

#[cfg(not(target_os = "linux"))]
pub(super) fn come_to(_processor: u32) -> bool {
    false
}

#[cfg(all(test, target_os = "linux", not(miri)))]
mod tests {
    use super::*;

    #[test]
    fn it_stays_and_may_go_again() {
        let before = sched_getaffinity(None).unwrap();
        let stay = Stay::here();
        let processor = usize::try_from(stay.processor().unwrap()).unwrap();
        let held = sched_getaffinity(None).unwrap();
        assert!((held.count(), held.is_set(processor)) == (1, true));
        drop(stay);
        assert!(sched_getaffinity(None).unwrap() == before);
    }

    #[test]
    fn a_processor_that_is_not_there_is_not_gone_to() {
        let before = sched_getaffinity(None).unwrap();
        assert!(!come_to(u32::MAX));
        assert!(sched_getaffinity(None).unwrap() == before);
    }
}
