//! A page in headless Chromium, served from this machine; what it tells comes back as one JSON document.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

/// What is answered to a path: its media type and bytes.
pub type Answer = (&'static str, Vec<u8>);

/// Answers one request; gives what was told, where it was that.
fn answer(mut stream: TcpStream, serve: &dyn Fn(&str) -> Option<Answer>) -> std::io::Result<Option<Value>> {
    stream.set_nonblocking(false)?;
    stream.set_read_timeout(Some(Duration::from_secs(20)))?;
    let mut request = Vec::new();
    let mut byte = [0];
    while !request.ends_with(b"\r\n\r\n") && stream.read(&mut byte)? == 1 {
        request.extend(byte);
    }
    let head = String::from_utf8_lossy(&request).into_owned();
    let long = head.lines().find_map(|l| l.to_lowercase().strip_prefix("content-length:")?.trim().parse().ok());
    let mut body = vec![0; long.unwrap_or(0)];
    stream.read_exact(&mut body)?;
    let path = head.split(' ').nth(1).unwrap_or("/").trim_start_matches('/');
    let (status, (kind, reply)) = match serve(path) {
        Some(answer) => ("200 OK", answer),
        None => ("404 Not Found", ("text/plain", Vec::new())),
    };
    let long = reply.len();
    write!(stream, "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {long}\r\nConnection: close\r\n\r\n")?;
    stream.write_all(&reply)?;
    Ok(if path == "told" { Some(serde_json::from_slice(&body)?) } else { None })
}

/// Opens the page that `serve` gives for the empty path, and waits until it posts a JSON document to `told`.
pub fn told(profile: &Path, serve: &dyn Fn(&str) -> Option<Answer>) -> Value {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.set_nonblocking(true).unwrap();
    let mut browser = Command::new("chromium")
        .args(["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"])
        .args(["--mute-audio", "--autoplay-policy=no-user-gesture-required", "--window-size=1280,800"])
        .arg(format!("--user-data-dir={}", profile.display()))
        .arg(format!("http://{}/", listener.local_addr().unwrap()))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    // A browser that never tells anything must not hang the tests.
    let late = Instant::now() + Duration::from_secs(180);
    let mut told = None;
    while told.is_none() && Instant::now() < late && browser.try_wait().unwrap().is_none() {
        match listener.accept() {
            // A request that breaks off is asked again or shows in what is told.
            Ok((stream, _)) => told = answer(stream, serve).unwrap_or(None),
            Err(_) => std::thread::park_timeout(Duration::from_millis(10)),
        }
    }
    // Asked to end, it ends its own processes too.
    let _ = Command::new("sh").args(["-c", &format!("kill {}", browser.id())]).status();
    browser.wait().unwrap();
    told.expect("Chromium told nothing")
}
