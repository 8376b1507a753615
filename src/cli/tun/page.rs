//! The profile as people read it.

use std::fmt::Write as _;

use lauter_core::profile::{Figure, Verdict};

use crate::cli::text::{Align, NONE, columns, local_time};
use crate::web::wire::{KnownProfile, ServedTun};

pub fn shown(tun: &ServedTun, known: &KnownProfile) -> String {
    let (Some(version), Some(saved)) = (known.version, known.saved) else {
        return format!("{tun} has no profile yet; it begins with the end of a first brew.\n");
    };
    let figures = &known.figures;
    let mut page = format!(
        "{tun}, profile version {version} of {}\nbrews that teach: {}, refused: {}\n\n",
        local_time(saved),
        figures.accepted,
        figures.refused
    );
    let rows = [
        ["", "median", "from", "to", "", "brews"].map(str::to_owned),
        row(
            "breakthrough",
            figures.breakthrough_l_per_kg,
            1.0,
            2,
            "L/kg of grist",
        ),
        row(
            "stop volume",
            figures.stop_volume_l_per_kg,
            1.0,
            2,
            "L/kg of grist",
        ),
        row(
            "extract yield",
            figures.extract_kg_per_kg,
            100.0,
            1,
            "% of the grist",
        ),
        row(
            "stop volume over plan",
            figures.stop_over_plan,
            100.0,
            1,
            "%",
        ),
        row("bed resistance", figures.resistance_per_m, 1e-9, 2, "10⁹/m"),
        row(
            "safe flow",
            figures.safe_flow_l_min_m2,
            1.0,
            1,
            "L/min for each m² of bed",
        ),
        row(
            "trouble from",
            figures.trouble_from_share,
            100.0,
            0,
            "% of the planned volume",
        ),
        row(
            "resistance after raking",
            figures.rake_effect,
            100.0,
            0,
            "% of that before",
        ),
        row(
            "gained by raking",
            figures.rake_gain_p,
            1.0,
            1,
            "°P above the forecast",
        ),
        row(
            "pH rise",
            figures.ph_rise,
            1.0,
            2,
            "as runnings fall to a third",
        ),
    ];
    let (left, right) = (Align::Left, Align::Right);
    page += &columns([left, right, right, right, left, right], &rows);
    page.push('\n');
    for verdict in known.profile.verdicts.iter().rev() {
        let _ = writeln!(page, "{}", judged(verdict));
    }
    page
}

fn row(name: &str, figure: Option<Figure>, scale: f64, decimals: usize, unit: &str) -> [String; 6] {
    let Some(figure) = figure else {
        return [name, NONE, "", "", unit, "0"].map(str::to_owned);
    };
    let number = |value: f64| format!("{:.decimals$}", scale * value);
    [
        name.to_owned(),
        number(figure.median),
        number(figure.least),
        number(figure.greatest),
        unit.to_owned(),
        figure.brews.to_string(),
    ]
}

fn judged(verdict: &Verdict) -> String {
    let acceptance = verdict.acceptance;
    let word = if acceptance.accepted {
        "teaches"
    } else {
        "refused"
    };
    format!("{}  {word}: {}", verdict.brew, acceptance.reason.in_words())
}
