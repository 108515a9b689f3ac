//! The way between a device and the service, which breaks where a test says: before anything is sent, in the middle of what
//! is sent, and after the service has done it and before the device hears so, with the service killed at that moment or
//! not. A link carries one request a connection, and knows no more of HTTP than where a body ends.

use std::sync::{Arc, Mutex, PoisonError};

use nix::sys::signal::Signal;
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream},
    sync::{mpsc, oneshot, watch},
    task::JoinHandle,
};

use crate::process::Process;

/// Where the next request breaks off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cut {
    /// Nowhere.
    Nowhere,
    /// The service is never reached.
    BeforeSending,
    /// So many bytes of the body get through, fewer than it has.
    InBody(usize),
    /// The service has answered, and the device hears nothing.
    BeforeAnswer,
    /// So many bytes of the answer get through, fewer than it has.
    InAnswer(usize),
    /// The service has answered and is killed, and the device hears nothing.
    KilledBeforeAnswer,
}

/// A service that is started again whenever it was killed.
pub struct Kept {
    address: watch::Receiver<Option<String>>,
    killer: mpsc::Sender<oneshot::Sender<()>>,
    keeping: JoinHandle<Process>,
}

impl Kept {
    /// Keeps this process, and those that follow it with the same arguments.
    #[must_use]
    pub fn new(process: Process, arguments: Vec<String>) -> Self {
        let (told, address) = watch::channel(Some(process.address.clone()));
        let (killer, mut orders) = mpsc::channel::<oneshot::Sender<()>>(1);
        let keeping = tokio::spawn(async move {
            let mut process = process;
            while let Some(dead) = orders.recv().await {
                told.send_replace(None);
                process.end(Signal::SIGKILL).await;
                // Whoever asked may be gone: the service is killed all the same.
                let _ = dead.send(());
                let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
                process = Process::serve(&arguments).await;
                told.send_replace(Some(process.address.clone()));
            }
            process
        });
        Self { address, killer, keeping }
    }

    /// Waits until it serves.
    pub async fn serves(&self) -> String {
        let mut address = self.address.clone();
        let serving = address.wait_for(Option::is_some).await.expect("the service is kept");
        serving.clone().expect("it serves")
    }

    /// A link to it.
    pub async fn link(&self) -> Link {
        Link::open(self.address.clone(), self.killer.clone()).await
    }

    /// The process that runs at the end, once every link is gone.
    pub async fn end(self) -> Process {
        drop(self.killer);
        self.keeping.await.expect("the service is kept")
    }
}

/// A link.
pub struct Link {
    /// Where a device reaches the service.
    pub address: String,
    next: Arc<Mutex<Cut>>,
    carrying: JoinHandle<()>,
}

impl Link {
    async fn open(
        service: watch::Receiver<Option<String>>,
        killer: mpsc::Sender<oneshot::Sender<()>>,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("it is bound"));
        let next = Arc::new(Mutex::new(Cut::Nowhere));
        let carrying = tokio::spawn({
            let next = next.clone();
            async move {
                while let Ok((device, _)) = listener.accept().await {
                    let cut = std::mem::replace(
                        &mut *next.lock().unwrap_or_else(PoisonError::into_inner),
                        Cut::Nowhere,
                    );
                    let service = service.borrow().clone();
                    // A device sends one request after another, so that nothing waits behind this one.
                    carry(device, service, cut, &killer).await;
                }
            }
        });
        Self { address, next, carrying }
    }

    /// Says where the next request breaks off.
    pub fn cut(&self, cut: Cut) {
        *self.next.lock().unwrap_or_else(PoisonError::into_inner) = cut;
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        self.carrying.abort();
    }
}

/// Carries one request and its answer; none when either side broke off, which is what this is for.
async fn carry(
    mut device: TcpStream,
    service: Option<String>,
    cut: Cut,
    killer: &mpsc::Sender<oneshot::Sender<()>>,
) -> Option<()> {
    let service = service?;
    if cut == Cut::BeforeSending {
        return None;
    }
    let (mut request, body_from) = request(&mut device).await?;
    if let Cut::InBody(bytes) = cut {
        let body = request.len() - body_from;
        request.truncate(body_from + bytes.min(body.saturating_sub(1)));
    }
    let mut upstream = TcpStream::connect(service.strip_prefix("http://")?).await.ok()?;
    upstream.write_all(&request).await.ok()?;
    if matches!(cut, Cut::InBody(_)) {
        return None;
    }
    // The first byte of the answer: what was asked for is done.
    let mut answer = vec![upstream.read_u8().await.ok()?];
    match cut {
        Cut::BeforeAnswer => return None,
        Cut::KilledBeforeAnswer => {
            let (dead, died) = oneshot::channel();
            killer.send(dead).await.ok()?;
            return died.await.ok();
        }
        _ => {}
    }
    upstream.read_to_end(&mut answer).await.ok()?;
    if let Cut::InAnswer(bytes) = cut {
        answer.truncate(bytes.min(answer.len() - 1));
    }
    device.write_all(&answer).await.ok()?;
    device.shutdown().await.ok()
}

/// The whole request, and where its body begins.
async fn request(device: &mut TcpStream) -> Option<(Vec<u8>, usize)> {
    let mut read = Vec::new();
    loop {
        if device.read_buf(&mut read).await.ok()? == 0 {
            return None;
        }
        let Some(end) = read.windows(4).position(|four| four == b"\r\n\r\n") else { continue };
        let head = String::from_utf8_lossy(&read[..end]).to_ascii_lowercase();
        let length = head.lines().find_map(|line| line.strip_prefix("content-length:"));
        let length: usize = length.map_or(Some(0), |length| length.trim().parse().ok())?;
        if read.len() >= end + 4 + length {
            return Some((read, end + 4));
        }
    }
}
