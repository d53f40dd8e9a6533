//! The logbooks that the programs of a schedule keep: all lives of a program in one text, as its file would hold them.

use std::sync::{Arc, Mutex, PoisonError};

use consort_logbook::Logbook;

/// What the programs of a schedule wrote down.
#[derive(Clone, Debug, Default)]
pub struct Logbooks {
    /// The coordinator.
    pub coordinator: String,
    /// Each station.
    pub stations: Vec<String>,
}

/// Logbooks that are being written.
#[derive(Clone, Debug)]
pub(super) struct Kept(Arc<Mutex<Logbooks>>);

impl Kept {
    pub(super) fn for_stations(stations: usize) -> Self {
        Self(Arc::new(Mutex::new(Logbooks {
            coordinator: String::new(),
            stations: vec![String::new(); stations],
        })))
    }

    pub(super) fn of_coordinator(&self) -> Logbook {
        self.logbook(|logbooks| &mut logbooks.coordinator)
    }

    pub(super) fn of_station(&self, station: usize) -> Logbook {
        self.logbook(move |logbooks| &mut logbooks.stations[station])
    }

    /// What has been written.
    pub(super) fn take(self) -> Logbooks {
        std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }

    fn logbook(&self, text: impl Fn(&mut Logbooks) -> &mut String + Send + 'static) -> Logbook {
        let kept = self.0.clone();
        Logbook::new(move |line| {
            let mut logbooks = kept.lock().unwrap_or_else(PoisonError::into_inner);
            let text = text(&mut logbooks);
            text.push_str(&line);
            text.push('\n');
        })
    }
}
