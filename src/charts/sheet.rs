//! One drawing: panels with axes, and the marks on them.
//!
//! Owns the whole acquaintance with plotters. A drawing is made in finer units than pixels, so that curves are
//! smooth, and carries what a cross-hair needs to read it.

use std::fmt::Write as _;

use plotters::chart::ChartContext;
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::{
    Cartesian2d, ChartBuilder, Circle, DrawingArea, IntoDrawingArea, IntoFont, LineSeries,
    PathElement, Polygon, Rectangle, SVGBackend, Text,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, ShapeStyle, TextStyle};
use serde::Serialize;
use thiserror::Error;

use super::axis::{Axis, legible};
use super::ink::{Ink, classed};

/// Drawing units in a pixel.
const FINE: u32 = 4;
const FONT_PX: u32 = 14;

/// A drawing that plotters could not make.
#[derive(Debug, Error)]
#[error("the chart cannot be drawn: {0}")]
pub struct ChartError(String);

/// Size in CSS pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    pub width: u32,
    pub height: u32,
}

impl Size {
    /// Within what a screen and a sheet of paper have use for.
    pub fn within_bounds(width: u32, height: u32) -> Self {
        Self {
            width: width.clamp(240, 2400),
            height: height.clamp(120, 1600),
        }
    }
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Context<'a> = ChartContext<'a, SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// What a cross-hair needs of one panel: its place in the drawing, its ranges, its curves.
#[derive(Debug, Serialize)]
struct Reading {
    /// left, right, top, bottom
    place: [i32; 4],
    x: [f64; 2],
    y: [f64; 2],
    x_unit: String,
    curves: Vec<Curve>,
}

#[derive(Debug, Serialize)]
struct Curve {
    class: String,
    name: String,
    unit: String,
    digits: usize,
}

/// A panel to draw on.
pub struct Panel<'a> {
    context: Context<'a>,
    reading: Reading,
    to_x: f64,
}

/// Where a label stands to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Left,
    Right,
    Above,
    Below,
}

fn failed<E: std::fmt::Debug>(error: E) -> ChartError {
    ChartError(format!("{error:?}"))
}

fn px(pixels: u32) -> u32 {
    pixels * FINE
}

/// The same as a distance.
fn steps(pixels: u32) -> i32 {
    px(pixels).cast_signed()
}

fn letters(ink: Ink) -> TextStyle<'static> {
    ("sans-serif", px(FONT_PX))
        .into_font()
        .color(&ink.mark(false))
}

fn stroke(ink: Ink, width_px: f64, broken: bool) -> ShapeStyle {
    ShapeStyle {
        color: ink.mark(broken).to_rgba(),
        filled: false,
        stroke_width: (width_px * f64::from(FINE)).round() as u32,
    }
}

/// Draws panels beneath each other; `shares` are their heights. `name` and `description` are for those who do not
/// see the drawing.
pub fn draw(
    size: Size,
    name: &str,
    description: &str,
    shares: &[f64],
    mut panel: impl FnMut(usize, PanelSpace<'_, '_>) -> Result<(), ChartError>,
) -> Result<String, ChartError> {
    let mut drawn = String::new();
    let mut readings = Vec::new();
    {
        let root = SVGBackend::with_string(&mut drawn, (px(size.width), px(size.height)))
            .into_drawing_area();
        let mut rest = root.clone();
        let mut left: f64 = shares.iter().sum();
        for (index, share) in shares.iter().enumerate() {
            let height = rest.dim_in_pixel().1;
            let (area, below) =
                rest.split_vertically((f64::from(height) * share / left).round() as i32);
            left -= share;
            rest = below;
            panel(
                index,
                PanelSpace {
                    area: &area,
                    readings: &mut readings,
                },
            )?;
        }
        root.present().map_err(failed)?;
    }
    let body = drawn
        .find('>')
        .map_or("", |end| &drawn[end + 1..])
        .replace('\n', "");
    let readings = serde_json::to_string(&readings).map_err(failed)?;
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart\" role=\"img\" viewBox=\"0 0 {} {}\" \
         width=\"{}\" height=\"{}\" aria-label=\"{}\" data-panels=\"{}\"><title>{}</title><desc>{}</desc>{}",
        px(size.width),
        px(size.height),
        size.width,
        size.height,
        escaped(&format!("{name}. {description}")),
        escaped(&readings),
        escaped(name),
        escaped(description),
        classed(&body)
    );
    Ok(svg)
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

/// Room for a panel that has no axes yet.
pub struct PanelSpace<'a, 'b> {
    area: &'b Area<'a>,
    readings: &'b mut Vec<Reading>,
}

impl<'a> PanelSpace<'a, '_> {
    /// Draws the axes, then what `marks` puts on them.
    pub fn with(
        self,
        x: &Axis<'_>,
        y: &Axis<'_>,
        marks: impl FnOnce(&mut Panel<'a>) -> Result<(), ChartError>,
    ) -> Result<(), ChartError> {
        let (width, height) = self.area.dim_in_pixel();
        let columns = (width / px(84)).clamp(3, 14) as usize;
        let rows = (height / px(42)).clamp(3, 9) as usize;
        let (across, columns) = legible(x, columns);
        let (up, rows) = legible(y, rows);
        let mut context = ChartBuilder::on(self.area)
            .margin_top(steps(24))
            .margin_right(steps(14))
            .margin_bottom(steps(2))
            .margin_left(steps(2))
            .x_label_area_size(px(24))
            .y_label_area_size(px(46))
            .build_cartesian_2d(across[0]..across[1], up[0]..up[1])
            .map_err(failed)?;
        context
            .configure_mesh()
            .x_labels(columns)
            .y_labels(rows)
            .max_light_lines(0)
            .bold_line_style(stroke(Ink::Grid, 1.0, false))
            .axis_style(stroke(Ink::Frame, 1.0, false))
            .label_style(letters(Ink::Text))
            .x_label_formatter(&|value| (x.number)(*value))
            .y_label_formatter(&|value| (y.number)(*value))
            .draw()
            .map_err(failed)?;
        // The titles stand in the corners, where they take no room from the curves.
        let title = |text: &str, pos: Pos, at: (i32, i32)| {
            let style = letters(Ink::Text).pos(pos);
            self.area
                .draw(&Text::new(text.to_owned(), at, style))
                .map_err(failed)
        };
        let (right, top) = (width.cast_signed() - steps(14), steps(4));
        title(&y.title, Pos::new(HPos::Left, VPos::Top), (steps(6), top))?;
        title(&x.title, Pos::new(HPos::Right, VPos::Top), (right, top))?;
        let (along, down) = context.plotting_area().get_pixel_range();
        let mut panel = Panel {
            context,
            reading: Reading {
                place: [along.start, along.end, down.start, down.end],
                x: across,
                y: up,
                x_unit: x.title.clone(),
                curves: Vec::new(),
            },
            to_x: x.to,
        };
        marks(&mut panel)?;
        self.readings.push(panel.reading);
        Ok(())
    }
}

impl Panel<'_> {
    /// A curve with the name and the unit a cross-hair reads it by; a gap (None) breaks it.
    pub fn curve(
        &mut self,
        points: &[Option<(f64, f64)>],
        ink: Ink,
        (name, unit, digits): (&str, &str, usize),
    ) -> Result<(), ChartError> {
        for part in points.split(Option::is_none) {
            let part: Vec<(f64, f64)> = part.iter().flatten().copied().collect();
            if part.len() > 1 {
                self.context
                    .draw_series(LineSeries::new(part, stroke(ink, 2.5, false)))
                    .map_err(failed)?;
            }
        }
        self.reading.curves.push(Curve {
            class: format!("l-{}", ink.name()),
            name: name.to_owned(),
            unit: unit.to_owned(),
            digits,
        });
        Ok(())
    }

    /// A broken line, for what is expected or allowed.
    pub fn broken(&mut self, points: &[(f64, f64)], ink: Ink) -> Result<(), ChartError> {
        self.context
            .draw_series(LineSeries::new(
                points.iter().copied(),
                stroke(ink, 1.5, true),
            ))
            .map_err(failed)?;
        Ok(())
    }

    pub fn line(&mut self, points: &[(f64, f64)], ink: Ink) -> Result<(), ChartError> {
        self.context
            .draw_series([PathElement::new(points.to_vec(), stroke(ink, 1.5, false))])
            .map_err(failed)?;
        Ok(())
    }

    /// The room between two courses: low to high at each x.
    pub fn fan(&mut self, points: &[(f64, f64, f64)], ink: Ink) -> Result<(), ChartError> {
        let upper = points.iter().map(|(x, _, high)| (*x, *high));
        let lower = points.iter().rev().map(|(x, low, _)| (*x, *low));
        let outline: Vec<(f64, f64)> = upper.chain(lower).collect();
        self.context
            .draw_series([Polygon::new(outline, ink.mark(false).mix(0.2).filled())])
            .map_err(failed)?;
        Ok(())
    }

    pub fn area(
        &mut self,
        from: (f64, f64),
        to: (f64, f64),
        ink: Ink,
        opacity: f64,
    ) -> Result<(), ChartError> {
        self.context
            .draw_series([Rectangle::new(
                [from, to],
                ink.mark(false).mix(opacity).filled(),
            )])
            .map_err(failed)?;
        Ok(())
    }

    /// A hollow ring, for what a person measured; filled for what is.
    pub fn dot(&mut self, at: (f64, f64), ink: Ink, hollow: bool) -> Result<(), ChartError> {
        let style = if hollow {
            stroke(ink, 2.0, false)
        } else {
            ink.mark(false).filled()
        };
        self.context
            .draw_series([Circle::new(at, px(5), style)])
            .map_err(failed)?;
        Ok(())
    }

    /// A square, for a sample of the kettle.
    pub fn square(&mut self, at: (f64, f64), ink: Ink) -> Result<(), ChartError> {
        let side = steps(5);
        let (x, y) = self.context.backend_coord(&at);
        let outline = vec![
            (x - side, y - side),
            (x + side, y - side),
            (x + side, y + side),
            (x - side, y + side),
            (x - side, y - side),
        ];
        self.context
            .plotting_area()
            .strip_coord_spec()
            .draw(&PathElement::new(
                self.relative_to_corner(&outline),
                stroke(ink, 2.0, false),
            ))
            .map_err(failed)
    }

    fn relative_to_corner(&self, points: &[(i32, i32)]) -> Vec<(i32, i32)> {
        let [left, _, top, _] = self.reading.place;
        points.iter().map(|(x, y)| (x - left, y - top)).collect()
    }

    /// Words beside a point, kept inside the panel.
    pub fn label(
        &mut self,
        at: (f64, f64),
        text: &str,
        ink: Ink,
        side: Side,
    ) -> Result<(), ChartError> {
        let (x, y) = self.context.backend_coord(&at);
        let gap = steps(7);
        let (horizontal, vertical, dx, dy) = match side {
            // At the axis there is no room to the left.
            Side::Left if at.0 < 0.15 * self.to_x => (HPos::Left, VPos::Top, gap / 2, gap / 2),
            Side::Left => (HPos::Right, VPos::Center, -gap, 0),
            Side::Right if at.0 > 0.85 * self.to_x => (HPos::Right, VPos::Bottom, 0, -gap / 2),
            Side::Right => (HPos::Left, VPos::Center, gap, 0),
            Side::Above => (HPos::Left, VPos::Bottom, gap / 2, -gap / 3),
            Side::Below => (HPos::Left, VPos::Top, gap / 2, gap / 3),
        };
        let style = letters(ink).pos(Pos::new(horizontal, vertical));
        let [left, _, top, _] = self.reading.place;
        self.context
            .plotting_area()
            .strip_coord_spec()
            .draw(&Text::new(
                text.to_owned(),
                (x + dx - left, y + dy - top),
                style,
            ))
            .map_err(failed)
    }
}
