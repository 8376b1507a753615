//! Places that are shared out: so many in all, and so many for one address.
//!
//! Owns the counting. Must not know what a place is for.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// A number of places.
#[derive(Debug)]
pub struct Places {
    all: usize,
    each: usize,
    taken: Mutex<HashMap<IpAddr, usize>>,
}

/// One of them; it is given back when this goes.
#[derive(Debug)]
pub struct Taken {
    places: Arc<Places>,
    address: IpAddr,
}

impl Places {
    pub fn new(all: usize, each: usize) -> Arc<Self> {
        Arc::new(Self {
            all,
            each,
            taken: Mutex::default(),
        })
    }

    /// A place, if there is one left for this address.
    pub fn take(self: &Arc<Self>, address: IpAddr) -> Option<Taken> {
        let address = address.to_canonical();
        let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
        let own = taken.get(&address).copied().unwrap_or(0);
        if own >= self.each || taken.values().sum::<usize>() >= self.all {
            return None;
        }
        taken.insert(address, own + 1);
        Some(Taken {
            places: Arc::clone(self),
            address,
        })
    }
}

impl Drop for Taken {
    fn drop(&mut self) {
        let mut taken = self
            .places
            .taken
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(own) = taken.get_mut(&self.address) {
            *own -= 1;
            if *own == 0 {
                taken.remove(&self.address);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_never_takes_what_is_left_for_others() {
        let places = Places::new(5, 3);
        let (a, b) = ("192.0.2.1".parse().unwrap(), "192.0.2.2".parse().unwrap());
        let mut held: Vec<Taken> = (0..3).map(|_| places.take(a).unwrap()).collect();
        assert!(places.take(a).is_none());
        let others: Vec<Taken> = (0..2).map(|_| places.take(b).unwrap()).collect();
        assert!(places.take(b).is_none(), "five are all");
        held.pop();
        drop(others);
        assert!(places.take("::ffff:192.0.2.1".parse().unwrap()).is_some());
    }
}
