//! One stream tube through the bed: mobile wort that flows and immobile wort in the grain.
//!
//! Owns convection, dispersion and the slow exchange with the grain. Finite volumes with both ends closed
//! (Danckwerts): nothing disperses out of the inlet or the outlet face. The scheme is upwind with its own
//! numerical dispersion `u dx (1 - Co) / 2` taken off the dispersion wanted, hence second order where the
//! cells are at least half as many as the Péclet number. Must not know pressures or other tubes.

/// A column of equal cells. Concentrations are kg extract per litre of additive volume.
#[derive(Clone, Debug)]
pub struct Column {
    mobile_kg_l: Vec<f64>,
    immobile_kg_l: Vec<f64>,
    cell_mobile_l: f64,
    cell_immobile_l: f64,
    peclet: f64,
}

/// Size and mixing of a column.
#[derive(Clone, Copy, Debug)]
pub struct ColumnShape {
    pub cells: usize,
    pub mobile_l: f64,
    pub immobile_l: f64,
    /// Péclet number of the whole column: velocity × length / dispersion coefficient.
    pub peclet: f64,
}

impl Column {
    /// A column filled with wort of one concentration.
    pub fn filled(shape: ColumnShape, concentration_kg_l: f64) -> Self {
        let cells = shape.cells.max(1);
        Self {
            mobile_kg_l: vec![concentration_kg_l; cells],
            immobile_kg_l: vec![concentration_kg_l; cells],
            cell_mobile_l: shape.mobile_l / cells as f64,
            cell_immobile_l: shape.immobile_l / cells as f64,
            peclet: shape.peclet,
        }
    }

    /// Multiplies the concentration at each depth, in flow and grain alike: a mash is never quite even.
    pub fn scale(&mut self, factors: impl Iterator<Item = f64>) {
        let cells = self.mobile_kg_l.iter_mut().zip(&mut self.immobile_kg_l);
        for ((mobile, immobile), factor) in cells.zip(factors) {
            *mobile *= factor;
            *immobile *= factor;
        }
    }

    /// Lets `volume_l` of inlet wort in at the top and gives the extract that leaves below, kg.
    pub fn pass(&mut self, volume_l: f64, inlet_kg_l: f64) -> f64 {
        if volume_l <= 0.0 {
            return 0.0;
        }
        let cells = self.mobile_kg_l.len() as f64;
        let courant = volume_l / self.cell_mobile_l;
        // Every new concentration must remain an average of old ones: Co (1 + 2 beta) <= 1.
        let parts = (courant * (1.0 + 2.0 * cells / self.peclet))
            .ceil()
            .max(1.0);
        let part_l = volume_l / parts;
        let part_courant = courant / parts;
        let spread = (cells / self.peclet - (1.0 - part_courant) / 2.0).max(0.0);
        (0..parts as usize)
            .map(|_| self.pass_part(part_l, inlet_kg_l, spread))
            .sum()
    }

    fn pass_part(&mut self, volume_l: f64, inlet_kg_l: f64, spread: f64) -> f64 {
        let last = self.mobile_kg_l.len() - 1;
        let mut in_kg = volume_l * inlet_kg_l;
        for cell in 0..=last {
            let here = self.mobile_kg_l[cell];
            let out_kg = if cell == last {
                volume_l * here
            } else {
                volume_l * (here - spread * (self.mobile_kg_l[cell + 1] - here))
            };
            self.mobile_kg_l[cell] = here + (in_kg - out_kg) / self.cell_mobile_l;
            in_kg = out_kg;
        }
        in_kg
    }

    /// First-order exchange between grain and flowing wort: it runs on time, flow or not. `rate_per_s` is
    /// that of the immobile wort towards a constant surrounding. Exact for any duration.
    pub fn exchange(&mut self, seconds: f64, rate_per_s: f64) {
        if self.cell_immobile_l <= 0.0 || rate_per_s <= 0.0 {
            return;
        }
        let both_l = self.cell_mobile_l + self.cell_immobile_l;
        let kept = (-rate_per_s * seconds * both_l / self.cell_mobile_l).exp();
        for (mobile, immobile) in self.mobile_kg_l.iter_mut().zip(&mut self.immobile_kg_l) {
            let difference = *immobile - *mobile;
            let moved_kg =
                difference * (1.0 - kept) * self.cell_mobile_l * self.cell_immobile_l / both_l;
            *mobile += moved_kg / self.cell_mobile_l;
            *immobile -= moved_kg / self.cell_immobile_l;
        }
    }

    /// Extract in mobile and immobile wort, kg.
    pub fn extract_kg(&self) -> f64 {
        self.mobile_kg_l.iter().sum::<f64>() * self.cell_mobile_l
            + self.immobile_kg_l.iter().sum::<f64>() * self.cell_immobile_l
    }

    /// Mobile volume of one cell, L.
    pub fn cell_mobile_l(&self) -> f64 {
        self.cell_mobile_l
    }

    /// Mobile and immobile volume, L.
    pub fn volume_l(&self) -> f64 {
        self.mobile_kg_l.len() as f64 * (self.cell_mobile_l + self.cell_immobile_l)
    }

    /// Mobile concentrations from top to bottom.
    pub fn mobile_kg_l(&self) -> &[f64] {
        &self.mobile_kg_l
    }

    /// Mobile concentrations, for those who stir the bed. They must keep the sum.
    pub fn mobile_kg_l_mut(&mut self) -> &mut [f64] {
        &mut self.mobile_kg_l
    }

    /// Mixes each cell with the one below by this share of the difference (0 to 1/2).
    pub fn stir(&mut self, share: f64) {
        for cells in [&mut self.mobile_kg_l, &mut self.immobile_kg_l] {
            for upper in 0..cells.len() - 1 {
                let moved = share * (cells[upper + 1] - cells[upper]);
                cells[upper] += moved;
                cells[upper + 1] -= moved;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Column, ColumnShape};

    fn column(cells: usize, mobile_l: f64, peclet: f64) -> Column {
        let shape = ColumnShape {
            cells,
            mobile_l,
            immobile_l: 0.0,
            peclet,
        };
        Column::filled(shape, 0.0)
    }

    /// Outlet concentration of a closed-closed column after a step to one at its inlet.
    fn outlet_at(column: &mut Column, times: &[f64]) -> Vec<f64> {
        let step_l = 1e-3;
        let mut passed_l = 0.0;
        times
            .iter()
            .map(|time| {
                while passed_l < time - step_l / 2.0 {
                    column.pass(step_l, 1.0);
                    passed_l += step_l;
                }
                *column.mobile_kg_l().last().expect("cells")
            })
            .collect()
    }

    const TIMES: [f64; 5] = [0.5, 0.75, 1.0, 1.5, 2.0];

    /// Brenner, *Chemical Engineering Science* 17 (1962) 229, closed-closed vessel.
    #[test]
    fn one_lane_without_exchange_follows_brenner_at_peclet_10() {
        let expected = [0.06811, 0.31182, 0.58033, 0.88206, 0.97153];
        for (got, want) in outlet_at(&mut column(60, 1.0, 10.0), &TIMES)
            .iter()
            .zip(expected)
        {
            assert!((got - want).abs() < 0.001, "got {got}, Brenner {want}");
        }
    }

    #[test]
    fn one_lane_without_exchange_follows_brenner_at_peclet_40() {
        let expected = [0.00093, 0.11387, 0.54348, 0.97550, 0.99956];
        for (got, want) in outlet_at(&mut column(60, 1.0, 40.0), &TIMES)
            .iter()
            .zip(expected)
        {
            // The front is narrower than at Péclet 10, so that 60 cells resolve it less well.
            assert!((got - want).abs() < 0.003, "got {got}, Brenner {want}");
        }
    }

    #[test]
    fn more_cells_come_closer_to_brenner() {
        let error = |cells| {
            let got = outlet_at(&mut column(cells, 1.0, 40.0), &[0.75])[0];
            (got - 0.11387_f64).abs()
        };
        let (coarse, fine) = (error(30), error(60));
        assert!(fine < coarse / 2.5, "30 cells {coarse}, 60 cells {fine}");
    }

    /// Ogata and Banks, USGS Professional Paper 411-A (1961). With a closed inlet the *flux* concentration
    /// of a half-infinite column obeys their boundary condition (Kreft and Zuber, *Chemical Engineering
    /// Science* 33 (1978) 1471), so the extract that has passed a plane deep inside is compared.
    #[test]
    fn a_long_lane_passes_extract_as_ogata_and_banks_say() {
        let expected = [0.08007, 0.32790, 0.58529, 0.87452, 0.96622];
        // Five lengths of 60 cells; the plane lies after the first, where the local Péclet number is 10.
        let mut long = column(300, 5.0, 50.0);
        let below_kg = |c: &Column| c.mobile_kg_l()[60..].iter().sum::<f64>() * c.cell_mobile_l();
        let step_l = 1e-3;
        let mut passed_l = 0.0;
        for (time, want) in TIMES.into_iter().zip(expected) {
            while passed_l < time - 1.5 * step_l {
                long.pass(step_l, 1.0);
                passed_l += step_l;
            }
            let before = below_kg(&long);
            let leaving = long.pass(step_l, 1.0) + long.pass(step_l, 1.0);
            passed_l += 2.0 * step_l;
            let got = (below_kg(&long) - before + leaving) / (2.0 * step_l);
            assert!((got - want).abs() < 0.001, "got {got}, Ogata-Banks {want}");
        }
    }

    /// Levenspiel, *Chemical Reaction Engineering*, ch. 13: variance of the closed vessel.
    #[test]
    fn residence_times_have_the_closed_vessel_s_mean_and_variance() {
        let peclet: f64 = 10.0;
        let mut lane = column(60, 1.0, peclet);
        let step_l = 2e-3;
        let (mut mean, mut second) = (0.0, 0.0);
        for step in 0..6000 {
            let time = (f64::from(step) + 0.5) * step_l;
            let still_inside = 1.0 - lane.pass(step_l, 1.0) / step_l;
            mean += still_inside * step_l;
            second += 2.0 * time * still_inside * step_l;
        }
        let variance = second - mean * mean;
        let identity = 2.0 / peclet - 2.0 / peclet.powi(2) * (1.0 - (-peclet).exp());
        assert!((mean - 1.0).abs() < 1e-3, "mean {mean}");
        assert!(
            (variance - identity).abs() < 2e-3,
            "{variance} against {identity}"
        );
    }

    #[test]
    fn exchange_goes_to_equilibrium_and_keeps_the_extract() {
        let shape = ColumnShape {
            cells: 10,
            mobile_l: 20.0,
            immobile_l: 10.0,
            peclet: 10.0,
        };
        let mut lane = Column::filled(shape, 0.18);
        lane.pass(10.0, 0.0);
        let before_kg = lane.extract_kg();
        lane.exchange(1e5, 1.0 / 600.0);
        assert!((lane.extract_kg() - before_kg).abs() < 1e-12);
        let mut again = lane.clone();
        again.exchange(600.0, 1.0 / 600.0);
        assert!(
            lane.mobile_kg_l()
                .iter()
                .zip(again.mobile_kg_l())
                .all(|(a, b)| (a - b).abs() < 1e-12)
        );
    }

    #[test]
    fn a_volume_of_many_cells_at_once_leaves_no_concentration_outside_its_neighbours() {
        let mut lane = column(20, 1.0, 15.0);
        lane.pass(0.6, 0.2);
        assert!(lane.mobile_kg_l().iter().all(|c| (0.0..=0.2).contains(c)));
    }
}
