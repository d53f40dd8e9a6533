//! Where the board is seen: straight on loopback, or through a local socket that leads out of a private network.

use super::Options;

/// Opens the way to the board at `url`, and says where a browser finds it.
#[cfg(unix)]
pub(crate) fn open(options: &Options, url: String) -> Result<String, String> {
    let (Some(socket), Some(shown_at)) = (&options.board_socket, options.board_shown_at) else {
        return Ok(url);
    };
    let rest = url
        .strip_prefix("http://")
        .ok_or_else(|| format!("{url} is no address"))?;
    let (address, path) = rest.split_once('/').ok_or_else(|| format!("{url} has no path"))?;
    consort_run::forward::from_socket(socket, address.to_owned())
        .map_err(|why| format!("{}: {why}", socket.display()))?;
    let shown = format!("http://127.0.0.1:{shown_at}/{path}");
    Ok(shown)
}

/// Opens the way to the board at `url`, and says where a browser finds it.
#[cfg(not(unix))]
pub(crate) fn open(_: &Options, url: String) -> Result<String, String> {
    Ok(url)
}
