//! Lets a browser outside the private network see the board inside it: TCP outside, a local socket between.

use std::io;
use std::net::{Ipv4Addr, TcpListener};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::thread;

/// The outer half: a loopback port whose connections end at the local socket that the rehearsal opens.
///
/// Returns the port; the threads last as long as this process.
pub(crate) fn to_socket(socket: &Path) -> io::Result<u16> {
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
    let port = listener.local_addr()?.port();
    let socket: PathBuf = socket.to_owned();
    thread::spawn(move || {
        for outside in listener.incoming().flatten() {
            let Ok(inside) = UnixStream::connect(&socket) else {
                continue;
            };
            let (Ok(outside_too), Ok(inside_too)) = (outside.try_clone(), inside.try_clone()) else {
                continue;
            };
            thread::spawn(move || {
                let _ = io::copy(&mut &outside, &mut &inside);
                let _ = inside.shutdown(std::net::Shutdown::Write);
            });
            thread::spawn(move || {
                let _ = io::copy(&mut &inside_too, &mut &outside_too);
                let _ = outside_too.shutdown(std::net::Shutdown::Both);
            });
        }
    });
    Ok(port)
}
