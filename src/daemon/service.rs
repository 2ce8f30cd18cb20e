//! What a service manager is told (sd_notify(3)): ready, alive, stopping. Without one nothing is sent.

use std::os::linux::net::SocketAddrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::Duration;

/// The way to it.
#[derive(Debug, Default)]
pub struct Service {
    socket: Option<(UnixDatagram, SocketAddr)>,
    /// How often it wants to hear that we live.
    pub every: Option<Duration>,
}

impl Service {
    /// As the environment says.
    pub fn of_environment() -> Self {
        let var = |name: &str| std::env::var(name).ok().filter(|text| !text.is_empty());
        let ours = var("WATCHDOG_PID").is_none_or(|pid| pid == std::process::id().to_string());
        let micros = var("WATCHDOG_USEC").and_then(|text| text.parse().ok()).filter(|_| ours);
        Self::at(var("NOTIFY_SOCKET").as_deref(), micros)
    }

    fn at(socket: Option<&str>, watchdog: Option<u64>) -> Self {
        let address = |name: &str| match name.strip_prefix('@') {
            Some(name) => SocketAddr::from_abstract_name(name),
            None => SocketAddr::from_pathname(name),
        };
        let socket = socket.and_then(|name| Some((UnixDatagram::unbound().ok()?, address(name).ok()?)));
        // Half of the time it waits for, as its manual advises.
        Self { socket, every: watchdog.map(|micros| Duration::from_micros(micros / 2)) }
    }

    /// Tells it something: `READY=1`.
    pub fn tell(&self, words: &str) {
        if let Some((socket, address)) = &self.socket {
            // A manager that does not listen is no reason to stop.
            let _ = socket.send_to_addr(words.as_bytes(), address);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_manager_hears_and_its_absence_is_no_fault() {
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("notify");
        let manager = UnixDatagram::bind(&path).unwrap();
        let service = Service::at(path.to_str(), Some(10_000_000));
        assert_eq!(service.every, Some(Duration::from_secs(5)));
        service.tell("READY=1");
        let mut heard = [0; 64];
        let length = manager.recv(&mut heard).unwrap();
        assert_eq!(&heard[..length], b"READY=1");
        drop(manager);
        service.tell("STOPPING=1");
        Service::at(None, None).tell("READY=1");
    }
}
