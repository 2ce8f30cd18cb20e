//! Keeps the machine from falling asleep while work waits.

use std::process::{Child, Command, Stdio};

/// Holds sleep and idleness off.
pub trait Inhibitor: Send {
    /// Holds them off, or lets go. False where it cannot.
    fn hold(&mut self, held: bool) -> bool;
}

/// By logind: a child process that lives as long as its input is open, so that it goes with us however we end.
#[derive(Debug, Default)]
pub struct Logind(Option<Child>);

impl Inhibitor for Logind {
    fn hold(&mut self, held: bool) -> bool {
        if !held {
            self.let_go();
            return true;
        }
        if let Some(child) = &mut self.0 {
            if matches!(child.try_wait(), Ok(None)) {
                return true;
            }
            self.0 = None;
        }
        let spawned = Command::new("systemd-inhibit")
            .args(["--what=sleep:idle", "--who=downbox", "--why=game film is being cut", "--mode=block", "cat"])
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        self.0 = spawned.ok();
        self.0.is_some()
    }
}

impl Logind {
    fn let_go(&mut self) {
        if let Some(mut child) = self.0.take() {
            // Its input closes with this, and it ends.
            drop(child.stdin.take());
            let _ = child.wait();
        }
    }
}

impl Drop for Logind {
    fn drop(&mut self) {
        self.let_go();
    }
}
