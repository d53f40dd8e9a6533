//! Where the board is seen: straight on loopback, or through a local socket that leads out of a private network.

use super::Options;

/// Opens the way to the board at `url`, and says where a browser finds it.
#[cfg(unix)]
pub(crate) fn open(options: &Options, url: String) -> Result<String, String> {
    use std::io;
    use std::net::TcpStream;
    use std::os::unix::net::UnixListener;
    use std::thread;

    let (Some(socket), Some(shown_at)) = (&options.board_socket, options.board_shown_at) else {
        return Ok(url);
    };
    let rest = url
        .strip_prefix("http://")
        .ok_or_else(|| format!("{url} is no address"))?;
    let (address, path) = rest.split_once('/').ok_or_else(|| format!("{url} has no path"))?;
    let listener = UnixListener::bind(socket).map_err(|why| format!("{}: {why}", socket.display()))?;
    let address = address.to_owned();
    let shown = format!("http://127.0.0.1:{shown_at}/{path}");
    thread::spawn(move || {
        for outside in listener.incoming().flatten() {
            let Ok(inside) = TcpStream::connect(&address) else {
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
    Ok(shown)
}

/// Opens the way to the board at `url`, and says where a browser finds it.
#[cfg(not(unix))]
pub(crate) fn open(_: &Options, url: String) -> Result<String, String> {
    Ok(url)
}
