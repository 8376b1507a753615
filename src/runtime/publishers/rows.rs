//! Rows of the outbox on their way to every publisher.
//!
//! Owns nothing but the round: each publisher's pump knows how far it is, and picks its own rows.

use super::Publishers;
use crate::store::{Message as Stored, Store, StoreError, TunId};

impl Publishers {
    /// The store has entered the tun.
    pub fn set_tun(&mut self, tun: TunId) {
        for pump in &mut self.pumps {
            pump.set_tun(tun);
        }
    }

    /// Hands over rows that have just been written, in their order.
    pub fn hand_over(&mut self, rows: &[Stored]) {
        for pump in &mut self.pumps {
            pump.hand_over(rows);
        }
    }

    /// Rows may be in the store that were not handed over.
    pub fn wake(&mut self) {
        for pump in &mut self.pumps {
            pump.wake();
        }
    }

    /// Hands over rows that wait in the store, as far as there is room.
    pub async fn pump(&mut self, store: &Store) -> Result<(), StoreError> {
        for pump in &mut self.pumps {
            pump.run(store).await?;
        }
        Ok(())
    }
}
