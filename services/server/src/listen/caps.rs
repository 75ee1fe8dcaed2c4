//! How many connections there may be, in all and from one address.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::ListenSettings;

type Counts = Arc<Mutex<HashMap<IpAddr, usize>>>;

#[derive(Debug)]
pub(super) struct Caps {
    places: Arc<Semaphore>,
    by_address: Counts,
    each: usize,
}

/// The right to one connection, given back when dropped.
#[derive(Debug)]
pub(super) struct Place {
    _place: OwnedSemaphorePermit,
    counted: Option<(IpAddr, Counts)>,
}

impl Caps {
    pub(super) fn new(settings: &ListenSettings) -> Self {
        Self {
            places: Arc::new(Semaphore::new(settings.connections)),
            by_address: Arc::default(),
            each: settings.connections_per_address,
        }
    }

    /// A place for one more connection from `peer`, if there is one.
    pub(super) fn place_for(&self, peer: IpAddr) -> Option<Place> {
        let place = Arc::clone(&self.places).try_acquire_owned().ok()?;
        let peer = network(peer);
        if self.each == 0 || peer.is_loopback() {
            return Some(Place { _place: place, counted: None });
        }
        let mut by_address = self.by_address.lock().unwrap_or_else(PoisonError::into_inner);
        let count = by_address.entry(peer).or_default();
        if *count >= self.each {
            return None;
        }
        *count += 1;
        Some(Place { _place: place, counted: Some((peer, Arc::clone(&self.by_address))) })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        if let Some((peer, by_address)) = &self.counted {
            let mut by_address = by_address.lock().unwrap_or_else(PoisonError::into_inner);
            if let Some(count) = by_address.get_mut(peer) {
                *count -= 1;
                if *count == 0 {
                    by_address.remove(peer);
                }
            }
        }
    }
}

/// One household or host has a whole IPv6 network of 64 bits.
fn network(peer: IpAddr) -> IpAddr {
    match peer.to_canonical() {
        IpAddr::V6(v6) if !v6.is_loopback() => {
            IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() & !u128::from(u64::MAX)))
        }
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_counted_by_address_and_given_back() {
        let caps = Caps::new(&ListenSettings {
            connections: 5,
            connections_per_address: 2,
            ..ListenSettings::default()
        });
        let here: IpAddr = "192.0.2.1".parse().expect("an address");
        let there: IpAddr = "2001:db8::1".parse().expect("an address");
        let next_door: IpAddr = "2001:db8::2".parse().expect("an address");
        let held: Vec<_> = [here, here].map(|peer| caps.place_for(peer).expect("a place")).into();
        assert!(caps.place_for(here).is_none(), "two from one address");
        let more: Vec<_> = [there, next_door].map(|peer| caps.place_for(peer).expect("a place")).into();
        assert!(caps.place_for(there).is_none(), "two from one network");
        let local = caps.place_for(IpAddr::from([127, 0, 0, 1])).expect("a place");
        assert!(caps.place_for(IpAddr::from([127, 0, 0, 1])).is_none(), "five in all");
        drop((held, more, local));
        assert!(caps.place_for(here).is_some());
        assert!(caps.by_address.lock().expect("not poisoned").is_empty(), "nothing is remembered");
    }
}
