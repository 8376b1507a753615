//! Flow through a bed of grains: Darcy, Kozeny–Carman and Ergun.
//!
//! Owns the textbook relations between flow, viscosity and pressure drop, in SI units throughout. It does not know a
//! lauter tun: what the numbers mean for compaction is decided elsewhere in `bed`. Superficial velocity is flow over
//! the empty cross-section.

/// Kozeny–Carman constant for spheres (Carman 1937).
const KOZENY_CARMAN: f64 = 180.0;

/// Ergun's viscous and inertial constants (Ergun 1952).
const ERGUN_VISCOUS: f64 = 150.0;
const ERGUN_INERTIAL: f64 = 1.75;

/// Superficial velocity, m/s, from a flow in L/min over a cross-section in m².
pub fn superficial_velocity_m_s(flow_l_min: f64, area_m2: f64) -> f64 {
    flow_l_min / 60_000.0 / area_m2
}

/// Darcy: pressure drop, Pa, from dynamic viscosity (Pa·s), superficial velocity (m/s), depth (m) and permeability (m²).
///
/// Source: Darcy 1856, in the form with viscosity (Bear, *Dynamics of Fluids in Porous Media*).
pub fn darcy_pressure_drop_pa(
    viscosity_pa_s: f64,
    velocity_m_s: f64,
    depth_m: f64,
    permeability_m2: f64,
) -> f64 {
    viscosity_pa_s * velocity_m_s * depth_m / permeability_m2
}

/// Darcy, solved for the resistance of the whole bed, 1/m: depth over permeability. It is what the bed itself adds, free
/// of flow and viscosity. Not finite at zero flow.
pub fn bed_resistance_per_m(pressure_drop_pa: f64, viscosity_pa_s: f64, velocity_m_s: f64) -> f64 {
    pressure_drop_pa / (viscosity_pa_s * velocity_m_s)
}

/// Kozeny–Carman: permeability, m², of a bed of particles of diameter `particle_m` (surface-to-volume mean, m) with
/// voidage between 0 and 1.
///
/// Source: Carman 1937, constant 180; holds while the flow between the grains is creeping (see [`grain_reynolds`]).
pub fn kozeny_carman_permeability_m2(particle_m: f64, voidage: f64) -> f64 {
    particle_m.powi(2) * voidage.powi(3) / (KOZENY_CARMAN * (1.0 - voidage).powi(2))
}

/// Reynolds number of the grain bed, ρ·v·d/(μ·(1 − ε)); creeping flow below about 10 (Ergun 1952).
pub fn grain_reynolds(
    density_kg_m3: f64,
    velocity_m_s: f64,
    particle_m: f64,
    viscosity_pa_s: f64,
    voidage: f64,
) -> f64 {
    density_kg_m3 * velocity_m_s * particle_m / (viscosity_pa_s * (1.0 - voidage))
}

/// A packed bed and the liquid in it, for [`PackedBed::ergun_pressure_drop_pa`].
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct PackedBed {
    /// Surface-to-volume mean diameter of the particles, m.
    pub particle_m: f64,
    /// Volume of the gaps over volume of the bed, between 0 and 1.
    pub voidage: f64,
    /// m
    pub depth_m: f64,
    pub density_kg_m3: f64,
    pub viscosity_pa_s: f64,
}

impl PackedBed {
    /// Ergun: pressure drop, Pa, at a superficial velocity in m/s; a viscous and an inertial part.
    ///
    /// Source: Ergun 1952.
    pub fn ergun_pressure_drop_pa(&self, velocity_m_s: f64) -> f64 {
        let solid = 1.0 - self.voidage;
        let gap = self.voidage.powi(3) * self.particle_m;
        let viscous = ERGUN_VISCOUS * self.viscosity_pa_s * solid.powi(2) * velocity_m_s
            / (gap * self.particle_m);
        let inertial =
            ERGUN_INERTIAL * self.density_kg_m3 * solid * velocity_m_s * velocity_m_s.abs() / gap;
        (viscous + inertial) * self.depth_m
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn relative(got: f64, expected: f64) -> f64 {
        (got / expected - 1.0).abs()
    }

    /// Computed with PyPI `fluids` 1.3.1 (`packed_bed.Ergun`). 1e-6 relative: the same formula, printed to 0.001 Pa.
    #[test]
    fn ergun_is_that_of_the_fluids_library() {
        let coarse = PackedBed {
            particle_m: 8e-4,
            voidage: 0.4,
            depth_m: 1.0,
            density_kg_m3: 1000.0,
            viscosity_pa_s: 1e-3,
        };
        assert!(relative(coarse.ergun_pressure_drop_pa(1e-3), 1338.867) < 1e-6);
        let grains = PackedBed {
            particle_m: 2e-4,
            voidage: 0.5,
            depth_m: 0.35,
            density_kg_m3: 1034.0,
            viscosity_pa_s: 4.7e-4,
        };
        assert!(relative(grains.ergun_pressure_drop_pa(5e-4), 620.041625) < 1e-8);
    }

    /// Rhodes, *Introduction to Particle Technology*, exercise on a packed bed in upward flow, answer 6560 Pa (from
    /// memory; 50 kg of 2500 kg/m³ in 0.04 m² × 1 m give voidage 0.5).
    #[test]
    fn ergun_solves_the_exercise_of_the_textbook() {
        let voidage = 1.0 - 50.0 / 2500.0 / 0.04;
        let bed = PackedBed {
            particle_m: 1e-3,
            voidage,
            depth_m: 1.0,
            density_kg_m3: 800.0,
            viscosity_pa_s: 2e-3,
        };
        let velocity = superficial_velocity_m_s(1440.0 / 60.0, 0.04);
        assert!(relative(bed.ergun_pressure_drop_pa(velocity), 6560.0) < 1e-9);
    }

    /// The creeping-flow limit of PyPI `fluids` 1.3.1 `packed_bed.Carman` (d 8e-4 m, ε 0.4, μ 1e-3 Pa·s at 1e-12 m/s) is
    /// 1582031.3 Pa·s/m² per metre; 1e-6: its inertial rest at that velocity.
    #[test]
    fn kozeny_carman_in_darcy_is_the_creeping_limit_of_carman() {
        let permeability = kozeny_carman_permeability_m2(8e-4, 0.4);
        let pressure_drop_pa = darcy_pressure_drop_pa(1e-3, 1.0, 1.0, permeability);
        assert!(
            relative(pressure_drop_pa, 1_582_031.25) < 1e-6,
            "{pressure_drop_pa}"
        );
    }

    proptest! {
        #[test]
        fn resistance_does_not_depend_on_flow_or_viscosity(
            velocity in 1e-6..1e-2f64, viscosity in 3e-4..2e-3f64, particle in 5e-5..1e-3f64, voidage in 0.2..0.7f64
        ) {
            let permeability = kozeny_carman_permeability_m2(particle, voidage);
            let drop = darcy_pressure_drop_pa(viscosity, velocity, 0.35, permeability);
            prop_assert!(relative(bed_resistance_per_m(drop, viscosity, velocity), 0.35 / permeability) < 1e-12);
        }

        #[test]
        fn a_denser_bed_holds_back_more(voidage in 0.2..0.69f64, step in 1e-3..1e-2f64) {
            prop_assert!(
                kozeny_carman_permeability_m2(2e-4, voidage) < kozeny_carman_permeability_m2(2e-4, voidage + step)
            );
        }

        #[test]
        fn ergun_falls_back_to_kozeny_carman_when_flow_creeps(voidage in 0.3..0.6f64, particle in 1e-4..1e-3f64) {
            let bed = PackedBed {
                particle_m: particle, voidage, depth_m: 0.35, density_kg_m3: 1030.0, viscosity_pa_s: 4e-4,
            };
            let velocity = 1e-9;
            let darcy = darcy_pressure_drop_pa(
                bed.viscosity_pa_s, velocity, bed.depth_m, kozeny_carman_permeability_m2(particle, voidage),
            );
            let ratio = bed.ergun_pressure_drop_pa(velocity) / darcy;
            prop_assert!((ratio - ERGUN_VISCOUS / KOZENY_CARMAN).abs() < 1e-3);
        }
    }
}
