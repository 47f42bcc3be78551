//! A watch over a process: it is killed when an answer takes too long.

use std::process::Child;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often the watch looks up. A deadline is passed by at most this much.
const TICK: Duration = Duration::from_millis(100);

/// Kills a process at its deadline, so that whoever waits for its answer sees the end of it. This
/// works on every platform, where time-outs of pipes do not.
#[derive(Debug)]
pub(super) struct Watch {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct Shared {
    state: Mutex<State>,
    ended: Condvar,
}

#[derive(Debug)]
struct State {
    child: Child,
    deadline: Option<Instant>,
    fired: bool,
    over: bool,
}

impl Shared {
    fn state(&self) -> MutexGuard<'_, State> {
        // Every change of the state is one assignment: a panic cannot leave it half done.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[allow(clippy::disallowed_methods, reason = "how long a foreign process takes; no output depends on it")]
pub(super) fn now() -> Instant {
    Instant::now()
}

impl Watch {
    pub(super) fn new(child: Child) -> Watch {
        let state = State { child, deadline: None, fired: false, over: false };
        let shared = Arc::new(Shared { state: Mutex::new(state), ended: Condvar::new() });
        let watched = Arc::clone(&shared);
        let thread = std::thread::spawn(move || {
            let mut state = watched.state();
            while !state.over {
                if state.deadline.is_some_and(|deadline| deadline <= now()) {
                    state.deadline = None;
                    state.fired = true;
                    // An error means that it has ended already.
                    let _ = state.child.kill();
                }
                state = watched.ended.wait_timeout(state, TICK).unwrap_or_else(PoisonError::into_inner).0;
            }
        });
        Watch { shared, thread: Some(thread) }
    }

    /// From now on the process has so much time.
    pub(super) fn arm(&self, patience: Duration) {
        self.shared.state().deadline = now().checked_add(patience);
    }

    /// The process may take its time again.
    pub(super) fn disarm(&self) {
        self.shared.state().deadline = None;
    }

    /// The number of the process.
    pub(super) fn id(&self) -> u32 {
        self.shared.state().child.id()
    }

    /// Kills the process.
    pub(super) fn kill(&self) {
        // An error means that it has ended already.
        let _ = self.shared.state().child.kill();
    }

    /// How the process ended, which it has when its pipes are closed. One that goes on all the same
    /// is killed when its patience is over. `None`: it was killed, now or at its deadline.
    pub(super) fn end(&self, patience: Duration) -> Option<std::io::Result<std::process::ExitStatus>> {
        let deadline = now().checked_add(patience);
        let mut state = self.shared.state();
        state.deadline = None;
        loop {
            if state.fired {
                let _ = state.child.wait();
                return None;
            }
            match state.child.try_wait() {
                Ok(Some(status)) => return Some(Ok(status)),
                Err(error) => return Some(Err(error)),
                Ok(None) => {}
            }
            if deadline.is_none_or(|deadline| deadline <= now()) {
                let _ = state.child.kill();
                state.fired = true;
                continue;
            }
            // Not long: almost always the process has ended.
            state = self
                .shared
                .ended
                .wait_timeout(state, Duration::from_millis(5))
                .unwrap_or_else(PoisonError::into_inner)
                .0;
        }
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let mut state = self.shared.state();
        state.over = true;
        let _ = state.child.kill();
        let _ = state.child.wait();
        drop(state);
        self.shared.ended.notify_one();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
