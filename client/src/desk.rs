//! The desk's page, on this computer only.

use std::sync::Arc;

use tokio::net::TcpListener;
use tokio::sync::{mpsc, watch};

use crate::image::Image;
use crate::start::StartError;
use crate::station::Wish;

pub(crate) fn key() -> Result<String, StartError> {
    Ok(String::new())
}

pub(crate) async fn serve(
    _listener: TcpListener,
    _key: String,
    _images: watch::Receiver<Arc<Image>>,
    _wishes: mpsc::Sender<Wish>,
) {
    std::future::pending().await
}
