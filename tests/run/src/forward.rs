//! Lets a browser outside the private network see the board inside it: TCP outside, a local socket between, TCP inside.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, Shutdown, TcpListener, TcpStream};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::thread;

/// A connection of either kind.
trait Stream: Sized + Send + Sync + 'static {
    fn twin(&self) -> io::Result<Self>;
    fn close(&self, how: Shutdown);
}

impl Stream for TcpStream {
    fn twin(&self) -> io::Result<Self> {
        self.try_clone()
    }

    fn close(&self, how: Shutdown) {
        // A connection that is gone is closed already.
        let _ = self.shutdown(how);
    }
}

impl Stream for UnixStream {
    fn twin(&self) -> io::Result<Self> {
        self.try_clone()
    }

    fn close(&self, how: Shutdown) {
        // A connection that is gone is closed already.
        let _ = self.shutdown(how);
    }
}

/// The outer half: a loopback port whose connections end at the local socket that the rehearsal opens.
///
/// Returns the port; the threads last as long as this process.
pub fn to_socket(socket: &Path) -> io::Result<u16> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
    let port = listener.local_addr()?.port();
    let socket: PathBuf = socket.to_owned();
    thread::spawn(move || {
        for outside in listener.incoming().flatten() {
            if let Ok(inside) = UnixStream::connect(&socket) {
                join(outside, inside);
            }
        }
    });
    Ok(port)
}

/// The inner half: a local socket whose connections end at `address`, inside the private network.
///
/// The threads last as long as this process.
pub fn from_socket(socket: &Path, address: String) -> io::Result<()> {
    let listener = UnixListener::bind(socket)?;
    thread::spawn(move || {
        for outside in listener.incoming().flatten() {
            if let Ok(inside) = TcpStream::connect(&address) {
                join(outside, inside);
            }
        }
    });
    Ok(())
}

/// Passes on what either side says until the inside ends.
fn join<A: Stream, B: Stream>(outside: A, inside: B)
where
    for<'a> &'a A: Read + Write,
    for<'b> &'b B: Read + Write,
{
    let (Ok(outside_too), Ok(inside_too)) = (outside.twin(), inside.twin()) else {
        return;
    };
    thread::spawn(move || {
        let _ = io::copy(&mut &outside, &mut &inside);
        inside.close(Shutdown::Write);
    });
    thread::spawn(move || {
        let _ = io::copy(&mut &inside_too, &mut &outside_too);
        outside_too.close(Shutdown::Both);
    });
}
