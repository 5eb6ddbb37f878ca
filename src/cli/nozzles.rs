//! `evenfall nozzles`: what a catalogue offers.

use std::path::PathBuf;

use clap::Args;

use super::design::catalogue;
use super::screen::{Ending, print};
use super::table::Table;
use crate::catalogue::{Catalogue, Family, FlowFollows};
use crate::units::Length;
use crate::write::throw::strip_word;

/// List and validate nozzle families.
#[derive(Debug, Args)]
pub(super) struct NozzlesArgs {
    /// Catalogue to read (TOML); without it the embedded generic families.
    #[arg(value_name = "CATALOGUE.toml")]
    catalogue: Option<PathBuf>,
}

pub(super) fn run(args: &NozzlesArgs) -> Result<u8, Ending> {
    let (catalogue, _) = catalogue(args.catalogue.as_deref())?;
    print(&listing(&catalogue))?;
    Ok(0)
}

/// How uneven a family's water is in the field, and what that rests on.
fn scatter_text(family: &Family) -> String {
    let kind = family.scatter.kind.text();
    let body = match family.own_body_cur {
        Some(_) => "; brings its own body",
        None => "",
    };
    match &family.scatter.own {
        Some(own) => format!(
            "scatter in the field (CV) {} with fixed arcs, {} with adjustable ones, by the catalogue{body}\n",
            own.fixed_cv, own.adjustable_cv
        ),
        None => format!(
            "scatter in the field (CV) by degradation.nozzle_{kind}_cv{}{body}\n",
            if family.scatter.is_assumed {
                ", which its stream suggests"
            } else {
                ""
            }
        ),
    }
}

fn listing(catalogue: &Catalogue) -> String {
    let mut out = format!("{}\n", catalogue.title);
    for family in &catalogue.families {
        out.push_str(&format!(
            "\n{}: {}, {:.1} mm/h at square head-to-head spacing\n\
             rated {:.0} kPa (works from {:.0} to {:.0}), arcs {} to {}° in steps of {}°{}, profile {}\n",
            family.name,
            family.stream,
            family.rated_rate().mm_h(),
            family.rated.kpa(),
            family.working.0.kpa(),
            family.working.1.kpa(),
            family.sweeps.from_deg,
            family.sweeps.to_deg,
            family.sweeps.step_deg,
            if family.sweeps.full_circle { " and full circle" } else { "" },
            family.profile,
        ));
        out.push_str(match family.flow_follows {
            FlowFollows::Rated => "a shorter throw keeps its flow\n",
            FlowFollows::Throw => "a shorter throw takes less flow, at the same rate\n",
        });
        out.push_str(&scatter_text(family));
        let mut nozzles = Table::new(&["nozzle", ">throw m", ">full circle L/min", ">rate mm/h"]);
        for nozzle in &family.nozzles {
            nozzles.row(vec![
                nozzle.name.clone(),
                format!("{} to {}", nozzle.shortest.m(), nozzle.longest.m()),
                format!("{:.2}", nozzle.full_circle.lpm()),
                format!("{:.1}", nozzle.square_rate_mm_h()),
            ]);
        }
        for strip in &family.strips {
            let side = |(shortest, rated): (Length, Length)| {
                if shortest.m() < rated.m() {
                    format!("{} to {}", shortest.m(), rated.m())
                } else {
                    format!("{}", rated.m())
                }
            };
            let (length, width) = (side(strip.length), side(strip.width));
            nozzles.row(vec![
                strip.name.clone(),
                format!("{length} × {width} {}", strip_word(strip.kind)),
                format!("{:.2}", strip.flow.lpm()),
                format!("{:.1}", strip.rate_mm_h()),
            ]);
        }
        out.push_str(&nozzles.text("  "));
    }
    out.push_str(
        "\nEvery family applies water at matched rates: largest / smallest is 1.10 at most.\n",
    );
    out
}
