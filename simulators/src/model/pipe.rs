//! The pipe from the bed to the runnings instruments: what goes in comes out later, in order, unmixed.

use std::collections::VecDeque;

/// Wort in one piece of pipe.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parcel {
    /// Additive volume, L.
    pub volume_l: f64,
    pub extract_kg: f64,
    /// Turbidity × volume, EBC L: mixes like a mass.
    pub turbidity_ebc_l: f64,
}

impl Parcel {
    fn add(&mut self, other: Self) {
        self.volume_l += other.volume_l;
        self.extract_kg += other.extract_kg;
        self.turbidity_ebc_l += other.turbidity_ebc_l;
    }

    fn share(self, share: f64) -> Self {
        Self {
            volume_l: self.volume_l * share,
            extract_kg: self.extract_kg * share,
            turbidity_ebc_l: self.turbidity_ebc_l * share,
        }
    }
}

/// Plug flow through a pipe that is always full.
#[derive(Clone, Debug)]
pub struct Pipe {
    parcels: VecDeque<Parcel>,
}

impl Pipe {
    pub fn filled(with: Parcel) -> Self {
        let parcels = if with.volume_l > 0.0 {
            VecDeque::from([with])
        } else {
            VecDeque::new()
        };
        Self { parcels }
    }

    /// Pushes a parcel in and gives what the same volume drives out at the other end.
    pub fn push(&mut self, parcel: Parcel) -> Parcel {
        let mut wanted_l = parcel.volume_l;
        self.parcels.push_back(parcel);
        let mut out = Parcel::default();
        while let Some(front) = self.parcels.front_mut() {
            if front.volume_l > wanted_l {
                let share = wanted_l / front.volume_l;
                out.add(front.share(share));
                *front = front.share(1.0 - share);
                break;
            }
            wanted_l -= front.volume_l;
            out.add(*front);
            self.parcels.pop_front();
        }
        out
    }

    pub fn extract_kg(&self) -> f64 {
        self.parcels.iter().map(|parcel| parcel.extract_kg).sum()
    }

    pub fn volume_l(&self) -> f64 {
        self.parcels.iter().map(|parcel| parcel.volume_l).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::{Parcel, Pipe};

    fn parcel(volume_l: f64, concentration_kg_l: f64) -> Parcel {
        Parcel {
            volume_l,
            extract_kg: volume_l * concentration_kg_l,
            turbidity_ebc_l: 0.0,
        }
    }

    #[test]
    fn what_goes_in_comes_out_one_pipe_volume_later() {
        let mut pipe = Pipe::filled(parcel(60.0, 0.2));
        let mut passed_l = 0.0;
        while passed_l < 59.5 {
            let out = pipe.push(parcel(1.0, 0.1));
            assert!(
                (out.extract_kg - 0.2).abs() < 1e-12,
                "old wort at {passed_l} L"
            );
            passed_l += 1.0;
        }
        let out = pipe.push(parcel(1.0, 0.1));
        assert!((out.extract_kg - 0.1).abs() < 1e-12);
        assert!((pipe.volume_l() - 60.0).abs() < 1e-9);
    }

    #[test]
    fn a_pipe_without_volume_passes_everything_at_once() {
        let mut pipe = Pipe::filled(parcel(0.0, 0.0));
        assert_eq!(pipe.push(parcel(1.5, 0.1)), parcel(1.5, 0.1));
    }
}
