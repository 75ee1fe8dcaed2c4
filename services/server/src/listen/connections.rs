//! How many connections there are, in all and from each address.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

#[derive(Debug, Default)]
struct Counts {
    all: usize,
    of: HashMap<IpAddr, usize>,
}

/// Counts connections.
#[derive(Debug, Clone)]
pub(super) struct Connections {
    counts: Arc<Mutex<Counts>>,
    most: usize,
    most_of_one: usize,
}

/// The place of one connection, free again when it is dropped.
#[derive(Debug)]
pub(super) struct Place {
    counts: Arc<Mutex<Counts>>,
    address: IpAddr,
}

impl Connections {
    pub(super) fn new(most: usize, most_of_one: usize) -> Self {
        Self { counts: Arc::default(), most, most_of_one }
    }

    /// A place for a connection from `address`; `None` when there is none left.
    pub(super) fn enter(&self, address: IpAddr) -> Option<Place> {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        let mine = counts.of.get(&address).copied().unwrap_or(0);
        if counts.all >= self.most || mine >= self.most_of_one {
            return None;
        }
        counts.all += 1;
        *counts.of.entry(address).or_default() += 1;
        Some(Place { counts: Arc::clone(&self.counts), address })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        counts.all = counts.all.saturating_sub(1);
        if let Some(mine) = counts.of.get_mut(&self.address) {
            *mine -= 1;
            if *mine == 0 {
                counts.of.remove(&self.address);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_counted_in_all_and_for_each_address() {
        let (a, b, c) =
            (IpAddr::from([127, 0, 0, 1]), IpAddr::from([127, 0, 0, 2]), IpAddr::from([127, 0, 0, 3]));
        let connections = Connections::new(3, 2);
        let first = connections.enter(a).unwrap();
        let _second = connections.enter(a).unwrap();
        assert!(connections.enter(a).is_none());
        let _third = connections.enter(b).unwrap();
        assert!(connections.enter(c).is_none());
        drop(first);
        assert!(connections.enter(c).is_some());
        assert!(connections.enter(a).is_some());
    }
}
