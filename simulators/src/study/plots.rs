//! The figures of a study as plots, in SVG.
//!
//! Owns their looks. Text is left to whoever shows the file, so that no font is needed here.

use std::path::{Path, PathBuf};

use lauter_core::supervisor::Band;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

use super::figures::{AtFraction, Errors, Figures};
use super::judged::projections;
use super::trial::Trial;

const SIZE: (u32, u32) = (800, 500);
const FONT: (&str, u32) = ("sans-serif", 18);

/// Errors above this are cut off, % of the true stop volume.
const LARGEST_ERROR_PERCENT: f64 = 10.0;

/// Coverage that an honest band of 90 % has over a thousand run-offs.
const HONEST_COVERAGE: (f64, f64) = (86.0, 94.0);

/// Colours that remain apart for the colour-blind (Okabe and Ito 2008, from memory).
const OURS: RGBColor = RGBColor(0, 114, 178);
const HAND: RGBColor = RGBColor(213, 94, 0);
const BOUND: RGBColor = RGBColor(0, 158, 115);

/// A plot could not be written.
#[derive(Debug, thiserror::Error)]
#[error("{path}: {message}; name a directory that can be written to")]
pub struct PlotError {
    pub path: PathBuf,
    pub message: String,
}

type Chart<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
/// One method's errors at a point of reading.
type Pick = fn(&AtFraction) -> Option<Errors>;
type Drawn = Result<(), Box<dyn std::error::Error>>;

/// Writes `error.svg` and `coverage.svg` into a directory, which is made when it is not there.
pub fn write(figures: &Figures, directory: &Path) -> Result<(), PlotError> {
    std::fs::create_dir_all(directory).map_err(|error| PlotError {
        path: directory.to_owned(),
        message: error.to_string(),
    })?;
    let points = &figures.stop_volume;
    save(&directory.join("error.svg"), |path| errors(points, path))?;
    save(&directory.join("coverage.svg"), |path| {
        coverage(points, path)
    })
}

/// Writes the bands of one run-off's projections over kettle volume, with the true stop-point.
pub fn write_fan(trial: &Trial, path: &Path) -> Result<(), PlotError> {
    save(path, |path| fan(trial, path))
}

fn save(path: &Path, draw: impl FnOnce(&Path) -> Drawn) -> Result<(), PlotError> {
    draw(path).map_err(|error| PlotError {
        path: path.to_owned(),
        message: error.to_string(),
    })
}

fn errors(points: &[AtFraction], path: &Path) -> Drawn {
    let root = SVGBackend::new(path, SIZE).into_drawing_area();
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&root)
        .caption("Error of the projected stop volume", FONT)
        .margin(12)
        .x_label_area_size(45)
        .y_label_area_size(55)
        .build_cartesian_2d(38.0..92.0, 0.0..LARGEST_ERROR_PERCENT)?;
    chart
        .configure_mesh()
        .max_light_lines(1)
        .x_desc("share of the planned volume in the kettle, %")
        .y_desc("error, % of the true stop volume")
        .draw()?;
    let methods: [(&str, RGBColor, Pick); 3] = [
        ("lauterd", OURS, |point| Some(point.error)),
        ("hand method", HAND, |point| Some(point.hand)),
        ("bound", BOUND, |point| point.bound),
    ];
    for (name, colour, pick) in methods {
        let line = |of: fn(&Errors) -> Option<f64>| {
            let at = move |point: &AtFraction| {
                let error = of(&pick(point)?)?.min(LARGEST_ERROR_PERCENT);
                Some((100.0 * point.fraction, error))
            };
            points.iter().filter_map(at).collect::<Vec<_>>()
        };
        let median = line(|errors| errors.median_percent);
        if median.is_empty() {
            continue;
        }
        legend(
            &mut chart,
            median,
            colour.stroke_width(3),
            &format!("{name}, median"),
        )?;
        let ninth = line(|errors| errors.p90_percent);
        legend(
            &mut chart,
            ninth,
            colour.stroke_width(1),
            &format!("{name}, 90th percentile"),
        )?;
    }
    finish(&mut chart, SeriesLabelPosition::UpperRight)?;
    root.present()?;
    Ok(())
}

fn coverage(points: &[AtFraction], path: &Path) -> Drawn {
    let root = SVGBackend::new(path, SIZE).into_drawing_area();
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&root)
        .caption("True stop volumes inside p5–p95", FONT)
        .margin(12)
        .x_label_area_size(45)
        .y_label_area_size(55)
        .build_cartesian_2d(38.0..92.0, 0.0..100.0)?;
    chart
        .configure_mesh()
        .max_light_lines(1)
        .x_desc("share of the planned volume in the kettle, %")
        .y_desc("share of run-offs, %")
        .draw()?;
    let (low, high) = HONEST_COVERAGE;
    let honest = Rectangle::new([(38.0, low), (92.0, high)], BOUND.mix(0.2).filled());
    chart.draw_series([honest])?;
    let line: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|point| Some((100.0 * point.fraction, 100.0 * point.coverage?)))
        .collect();
    legend(&mut chart, line, OURS.stroke_width(3), "lauterd")?;
    finish(&mut chart, SeriesLabelPosition::LowerLeft)?;
    root.present()?;
    Ok(())
}

fn fan(trial: &Trial, path: &Path) -> Drawn {
    let bands: Vec<(f64, Band)> = projections(trial)
        .filter_map(|line| Some((line.kettle_volume_l, line.target?.volume_l)))
        .collect();
    let planned_l = trial.plan.planned_volume_l;
    let (low_l, high_l) = (0.8 * planned_l, 1.2 * planned_l);
    let shown = |volume_l: f64| volume_l.clamp(low_l, high_l);
    let end_l = bands.last().map_or(planned_l, |(volume_l, _)| *volume_l);
    let root = SVGBackend::new(path, SIZE).into_drawing_area();
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&root)
        .caption(
            format!("Projected stop volume of brew {}", trial.plan.brew),
            FONT,
        )
        .margin(12)
        .x_label_area_size(45)
        .y_label_area_size(75)
        .build_cartesian_2d(0.0..end_l, low_l..high_l)?;
    chart
        .configure_mesh()
        .max_light_lines(1)
        .x_desc("kettle volume, L")
        .y_desc("stop volume, L")
        .draw()?;
    let above = bands.iter().map(|(at_l, band)| (*at_l, shown(band.p95)));
    let below = bands
        .iter()
        .rev()
        .map(|(at_l, band)| (*at_l, shown(band.p5)));
    let outline: Vec<(f64, f64)> = above.chain(below).collect();
    chart.draw_series([Polygon::new(outline, OURS.mix(0.25))])?;
    let median = bands
        .iter()
        .map(|(at_l, band)| (*at_l, shown(band.p50)))
        .collect();
    legend(&mut chart, median, OURS.stroke_width(2), "p50, with p5–p95")?;
    if let Some(stop) = trial.crossings.target {
        let truth = vec![(0.0, stop.volume_l), (end_l, stop.volume_l)];
        legend(&mut chart, truth, BOUND.stroke_width(2), "true stop-point")?;
    }
    let plan = vec![(0.0, planned_l), (end_l, planned_l)];
    legend(&mut chart, plan, HAND.stroke_width(1), "plan")?;
    finish(&mut chart, SeriesLabelPosition::LowerLeft)?;
    root.present()?;
    Ok(())
}

fn legend<'a, 'b: 'a>(
    chart: &mut Chart<'a, 'b>,
    line: Vec<(f64, f64)>,
    style: ShapeStyle,
    name: &str,
) -> Drawn {
    chart
        .draw_series(LineSeries::new(line, style))?
        .label(name)
        .legend(move |(x, y)| PathElement::new([(x, y), (x + 20, y)], style));
    Ok(())
}

fn finish<'a, 'b: 'a>(chart: &mut Chart<'a, 'b>, legend: SeriesLabelPosition) -> Drawn {
    chart
        .configure_series_labels()
        .position(legend)
        .background_style(WHITE.mix(0.8))
        .border_style(BLACK.mix(0.3))
        .draw()?;
    Ok(())
}
