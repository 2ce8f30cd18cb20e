//! The staff's own command after a game: run with a time limit, its output for the log.

use std::io::Read;
use std::os::unix::process::CommandExt;
use std::process::{Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::time::{Duration, Instant};

/// A command with what it is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hook {
    /// For the shell.
    pub command: String,
    /// Names and values of its environment.
    pub told: Vec<(String, String)>,
    /// What it may take.
    pub limit: Duration,
}

/// No more of its output is kept.
const MOST: u64 = 64 << 10;

impl Hook {
    /// Runs it; gives how it ended, in words, and what it printed.
    pub fn run(&self) -> (String, String) {
        let mut command = Command::new("sh");
        // A group of its own, so that what it starts ends with it.
        command.args(["-c", &self.command]).process_group(0).stdin(Stdio::null());
        let Ok((mut printed, other_end)) = std::io::pipe() else {
            return ("it could not be run: no pipe".into(), String::new());
        };
        match other_end.try_clone() {
            Ok(again) => command.stdout(other_end).stderr(again),
            Err(cause) => return (format!("it could not be run: {cause}"), String::new()),
        };
        command.envs(self.told.iter().map(|(name, value)| (name, value)));
        let mut child = match command.spawn() {
            Ok(child) => child,
            Err(cause) => return (format!("it could not be run: {cause}"), String::new()),
        };
        // The writing end must be closed here for the reading one to end.
        drop(command);
        let (sender, reader) = channel();
        std::thread::spawn(move || {
            let mut bytes = Vec::new();
            let mut chunk = [0; 4096];
            while let Ok(got) = printed.read(&mut chunk) {
                if got == 0 {
                    break;
                }
                if (bytes.len() as u64) < MOST {
                    bytes.extend_from_slice(&chunk[..got]);
                }
            }
            // Nobody waits any more once the time is over.
            let _ = sender.send(bytes);
        });
        let end = Instant::now() + self.limit;
        let mut ended = loop {
            match child.try_wait() {
                Ok(Some(status)) if status.success() => break "done".to_string(),
                Ok(Some(status)) => break format!("it failed ({status})"),
                Ok(None) if Instant::now() < end => std::thread::sleep(Duration::from_millis(50)),
                Ok(None) => {
                    kill(&child);
                    let _ = child.wait();
                    break format!("it took longer than {} s and was ended", self.limit.as_secs());
                }
                Err(cause) => break format!("it was lost ({cause})"),
            }
        };
        let text = match reader.recv_timeout(Duration::from_secs(1)) {
            Ok(bytes) => String::from_utf8_lossy(&bytes).trim_end().to_string(),
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                ended.push_str("; something that it started still runs");
                String::new()
            }
        };
        (ended, text)
    }
}

fn kill(child: &std::process::Child) {
    if let Some(pid) = i32::try_from(child.id()).ok().and_then(rustix::process::Pid::from_raw) {
        // One that has just ended cannot be ended.
        let _ = rustix::process::kill_process_group(pid, rustix::process::Signal::KILL);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(command: &str, limit: Duration) -> (String, String) {
        let told = vec![("DOWNBOX_GAME".to_string(), "Badgers $(rm)".to_string())];
        Hook { command: command.into(), told, limit }.run()
    }

    #[test]
    fn a_command_is_told_the_game_and_its_words_are_kept() {
        let minute = Duration::from_secs(60);
        assert_eq!(run("echo \"$DOWNBOX_GAME\"; echo x >&2", minute), ("done".into(), "Badgers $(rm)\nx".into()));
        let (ended, _) = run("exit 3", minute);
        assert!(ended.starts_with("it failed"), "{ended}");
        let (ended, text) = run("yes", Duration::ZERO);
        assert!(ended.contains("longer than 0 s") && text.len() as u64 <= MOST + 4096, "{ended}");
    }
}
