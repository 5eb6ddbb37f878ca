//! Everything that can go wrong, in one numbered table.
//!
//! A code never changes its meaning and is never used again for something else. A message says
//! what was found, where, and what to do next.

use std::fmt;

/// How far an issue reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Something was mended or assumed; the result stands.
    Note,
    /// Everything was planned, but the input is probably not what was meant; the exit status says so.
    Warning,
    /// One piece of a parcel could not be planned; the rest of it was.
    Partial,
    /// One parcel (or one record) failed; the others go on.
    Failed,
    /// The run cannot start or cannot go on.
    Fatal,
}

macro_rules! issues {
    ($($code:ident $severity:ident $exit:literal $sentence:literal, $remedy:literal;)*) => {
        /// The number of an issue: two letters for the stage, two digits.
        #[derive(
            Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
        )]
        pub enum Code {
            $(#[doc = $sentence] $code,)*
        }

        impl Code {
            /// Every code, in the order of the table.
            pub const ALL: &'static [Code] = &[$(Code::$code,)*];

            /// The code as it is printed, e.g. `GE04`.
            #[must_use]
            pub fn text(self) -> &'static str {
                match self { $(Code::$code => stringify!($code),)* }
            }

            /// How far the issue reaches.
            #[must_use]
            pub fn severity(self) -> Severity {
                match self { $(Code::$code => Severity::$severity,)* }
            }

            /// What the issue is, as one sentence.
            #[must_use]
            pub fn sentence(self) -> &'static str {
                match self { $(Code::$code => $sentence,)* }
            }

            /// What the user can do about it.
            #[must_use]
            pub fn remedy(self) -> &'static str {
                match self { $(Code::$code => $remedy,)* }
            }

            /// The exit status of a run that ends on this issue.
            #[must_use]
            pub fn exit_status(self) -> u8 {
                match self { $(Code::$code => $exit,)* }
            }
        }
    };
}

issues! {
    // Input files.
    IN01 Fatal 3 "The input file does not exist or cannot be opened", "check the path and the right to read it";
    IN02 Fatal 4 "The input is not in a format this program reads", "give GeoJSON, or build with GDAL for other formats";
    IN03 Fatal 4 "The file ends in the middle or is not well-formed JSON", "write the file anew; a broken upload is the usual cause";
    IN04 Fatal 3 "The named layer is not in the file", "give FILE:LAYER with one of the layers listed";
    IN05 Fatal 9 "The layer has no feature to plan", "check the filters --where and --bbox, and that the layer is the one meant";
    IN06 Failed 1 "A record of the sequence is not a GeoJSON feature", "mend or remove the record; the others were planned";
    IN07 Fatal 4 "A cell of the table cannot be read", "write a number with a decimal point, or leave the cell empty";
    IN08 Fatal 4 "A column that is needed is missing", "rename or add the column";
    IN09 Fatal 4 "Two parcels carry the same id", "make ids unique, or name another column with --id-field";
    IN10 Fatal 4 "The filter cannot be understood", "write --where as COLUMN = 'VALUE' or in the SQL of the source, --bbox as W,S,E,N in degrees";
    IN11 Note 0 "The value of an optional column was not usable and was ignored", "see the columns of the layer in the README";
    IN12 Fatal 4 "The file is larger or deeper than this program accepts", "split the file; nesting is limited to 128 levels";
    IN13 Fatal 4 "The stream of record batches is broken or ends before its end", "see that what writes it ran to its end, and closes the stream";
    IN14 Fatal 4 "The stream of record batches is not laid out as it must be", "see the recipe for engines of many machines in the README";
    IN15 Warning 1 "A parcel has the id of an earlier one and was given a number", "make ids unique, or give --repeated-ids join for parts of one parcel, refuse to stop";
    IN16 Note 0 "Features of one id were joined to one parcel", "make ids unique, or give --repeated-ids number to keep them apart";
    IN17 Warning 1 "Features that were joined to one parcel differ in their columns; the values of the first are used", "correct the columns named, or give --repeated-ids number to keep them apart";
    IN18 Warning 1 "Rows without an id were given the number of their row", "fill in the id; numbers change when rows are added or sorted";
    IN19 Warning 1 "A turf_id stands in the layer more than once; the later turf area was numbered", "make turf_id unique";
    IN20 Fatal 4 "The text is not UTF-8", "save it as UTF-8; in a spreadsheet choose `CSV UTF-8` as the file type";
    IN21 Fatal 4 "One quantity stands in two columns of different units", "remove one of the two columns";
    IN22 Fatal 4 "A number can be read in two ways", "write it without separators between thousands and with a decimal point";
    IN23 Fatal 4 "Day and month of a date cannot be told apart", "write dates as 2026-07-31";
    // Coordinate reference systems.
    CR01 Fatal 5 "The layer has no coordinate reference system", "assign one when writing the file (a .prj beside a Shapefile), or give GeoJSON in lon/lat";
    CR02 Fatal 5 "The coordinate reference system is not known or cannot be transformed to WGS 84", "reproject the layer to a registered system, for instance EPSG:4326";
    CR03 Failed 1 "Coordinates lie outside the range of their coordinate reference system", "check the layer's CRS: GeoJSON must be longitude and latitude in degrees";
    CR04 Fatal 5 "This build reads longitude and latitude only", "reproject to EPSG:4326, or build with the default features";
    // Geometry of one feature.
    GE01 Failed 1 "The feature has no geometry", "draw the polygon, or remove the feature";
    GE02 Failed 1 "The geometry is not a polygon", "give polygons or multipolygons; lines and points are not areas";
    GE03 Failed 1 "A ring has fewer than three different points", "draw the ring anew";
    GE04 Note 0 "An invalid polygon was repaired", "check the drawing where the ring crosses or touches itself";
    GE05 Failed 1 "Repairing the polygon would change its area by more than 1 %", "redraw the polygon so that no ring crosses itself";
    GE06 Failed 1 "A coordinate is not a finite number", "remove NaN, infinite and null coordinates";
    GE07 Failed 1 "The polygon is a sliver without usable area", "remove it, or merge it with its neighbour";
    GE08 Failed 1 "The polygon has more vertices or holes than this program accepts", "simplify it to a tolerance of a few centimetres, or split it";
    GE09 Failed 1 "The polygon is too large for one local frame", "split it; a turf area may span at most 5 km";
    GE10 Note 0 "A ring was not closed and was closed", "repeat the first position at the end of each ring";
    GE11 Failed 1 "The structure of the feature is not GeoJSON", "see RFC 7946, section 3: coordinates must be nested arrays of numbers";
    GE12 Failed 1 "The feature is larger or deeper than this program accepts", "split it; a feature may take 32 MiB of text and 128 levels of nesting";
    GE13 Failed 1 "The geometry is not well-known binary of points or polygons", "write it anew in longitude and latitude; curves must be made of straight sides first";
    GE14 Failed 1 "The polygon crosses itself too often to be repaired", "redraw it; a ring may cross itself a few thousand times at most";
    // Joining layers.
    JO01 Failed 1 "The turf names a parcel that is not in the parcel layer", "correct parcel_id, or add the parcel";
    JO02 Failed 1 "The turf has no parcel_id and overlaps no parcel", "check that both layers cover the same place";
    JO03 Note 0 "The turf was given to the parcel it overlaps most", "add a parcel_id column to make the link explicit";
    JO04 Note 0 "Part of the turf lies outside its parcel", "check the drawing along the boundary";
    JO05 Note 0 "An existing head lies on no turf area that it could belong to and was left out", "check the position or the turf outline";
    JO06 Warning 1 "Ids that differ from a parcel's in case, spaces or leading zeros were matched with it", "write ids alike in every layer, or give --match-ids exact to keep them apart";
    JO07 Warning 1 "Less than half of the rows of a layer were used", "see the reasons listed, and the codes in failures.csv";
    JO08 Failed 1 "No row of a layer was used", "check that the layer is of this place, in the right reference system, given by the right flag, and that its parcel_id is the parcels' id";
    JO09 Warning 1 "The turf lies wholly outside the parcel that it names", "check parcel_id, and the reference systems of both layers";
    JO10 Warning 1 "A turf area lies on another one of its parcel; it was counted once", "remove the drawing that stands there twice";
    JO11 Warning 1 "Two turf areas of a parcel overlap; the share is counted in both", "draw the boundary between them once";
    // Existing heads.
    HE01 Note 0 "Two existing heads stand within 0.1 m of one another; the later one was left out", "remove the head that was recorded twice";
    HE02 Note 0 "Values of existing heads were missing and were inferred from where they stand", "survey radius_m, arc_deg, azimuth_deg and condition where the plan matters";
    HE03 Note 0 "One station feeds heads of different families", "swap the station whole: families apply water at different rates";
    HE04 Note 0 "Positions in the ground do not give head-to-head coverage with the family", "add heads where the plan shows them, or choose a family that throws farther";
    HE05 Note 0 "An existing head stands too near to another for the family and is capped", "cap it, or keep it where the lawn is seen to need it";
    HE06 Note 0 "An existing head names a parcel or turf area that has no turf in the layers and was left out", "write parcel_id and turf_id as in the other layers, or empty them to go by place";
    HE07 Note 0 "An existing head stands more than 1 m off the turf area that it names; it was kept there", "check the position, parcel_id and turf_id";
    HE08 Note 0 "An existing head names a turf area that its parcel does not have; the nearest of the parcel was taken", "write turf_id as in the turf layer";
    // Assumptions, program and catalogue.
    AS01 Fatal 8 "No assumption has this name", "see `evenfall assumptions` for the list";
    AS02 Fatal 8 "The value lies outside its bounds", "give a value within the bounds listed by `evenfall assumptions`";
    AS03 Fatal 8 "The program file cannot be understood", "see `evenfall schema program` and correct the line named";
    AS04 Failed 1 "An attribute of the parcel overrides an assumption with an unusable value", "correct the attribute or remove it";
    AS05 Fatal 8 "This assumption cannot be set by parcel", "set it in the program file or with --set";
    CA01 Fatal 8 "The catalogue cannot be understood", "see `evenfall schema catalogue` and correct the line named";
    CA02 Fatal 8 "A nozzle of the catalogue has an impossible value", "correct the value named";
    CA03 Fatal 8 "Nozzles of one family do not apply water at matched rates", "split the family, or correct flow or throw (largest rate / smallest rate may be 1.10 at most)";
    CA04 Fatal 8 "The catalogue has no such family", "see `evenfall nozzles` for the families";
    CL01 Fatal 4 "The climate table is not twelve months of usable values", "give month, eto_mm, rain_mm for months 1 to 12";
    CL02 Fatal 4 "A value of the climate or the weather is impossible", "correct the value named";
    CL03 Fatal 4 "Values of the climate or the weather look like inches or degrees Fahrenheit", "convert to millimetres (x 25.4) and degrees Celsius ((F - 32) / 1.8)";
    CL04 Note 0 "The weather has gaps; days that are missing were left out, not filled", "check the months listed";
    CL05 Fatal 4 "The weather has too few days in some month of the year", "give at least one whole year, or a monthly table";
    CL06 Note 0 "The climate zone of the turf is not known; the first zone of the table was used", "give a layer of zones with --climate-zones, or a column climate_zone, that names the zones of the climate table";
    CL07 Fatal 4 "A daily balance needs the climate by days", "give --climate a table with date, eto_mm, rain_mm (`evenfall climate WEATHER.csv --daily FILE`), or leave --balance daily out";
    CL08 Fatal 4 "The layer of climate zones cannot be used", "give polygons with a column zone that names the zones of the climate table, or with columns eto_1 to eto_12 and rain_1 to rain_12";
    CL09 Fatal 4 "Wind by its rose needs the climate to say where the wind comes from", "give --climate a table of months with wind_n_frac, wind_ne_frac, ... wind_nw_frac, the shares of the watering hours, or ask for --wind mean";
    CL10 Fatal 4 "Reference evapotranspiration is of a tall crop, or the column does not say of which crop", "name a column of grass (short-crop) reference eto_mm; where the figures are of alfalfa, ask their source for those of grass, or compute them with `evenfall climate WEATHER.csv`";
    CL11 Note 0 "Relative humidity looks like fractions of 1", "write percent, 0 to 100";
    CL12 Note 0 "The wind looks like kilometres or miles an hour", "write metres a second (km/h / 3.6, mph x 0.447), measured at 2 m, or set climate.wind_height_m for daily weather";
    CL13 Note 0 "The rain of the year looks like inches", "write millimetres (x 25.4), unless the place is a desert";
    CL14 Note 0 "Solar radiation passes that of a clear sky", "check unit (MJ a square metre and day; W/m2 x 0.0864), latitude and elevation";
    CL15 Note 0 "Columns of the table are not read", "rename them if they hold what the help of the command lists";
    CL16 Note 0 "Penman-Monteith and Hargreaves are out of line", "check units and heights of wind, humidity and radiation";
    SO01 Note 0 "The soil texture is not a class of the USDA triangle; the assumed texture was used", "write one of the twelve classes, e.g. `sandy loam`";
    SO02 Note 0 "No texture is known for the soil under the turf; the assumed texture was used", "give the layer of soils a texture column, or add the map unit to the --soil-table";
    SO03 Fatal 4 "The layer of soils says nothing that can be used", "give it a column texture or intake_mm_h, or a --soil-table whose first column is a column of the layer";
    SO04 Note 0 "A basic intake rate is impossible and was ignored", "give millimetres an hour, above 0 and up to 1000";
    SO05 Note 0 "A polygon of the soils or the climate zones cannot be used and was left out", "mend or remove it; turf on it is taken to lie on no polygon";
    EL01 Note 0 "The elevation model does not cover the turf; the assumed slope was used", "give a raster that reaches two cells beyond the turf, without holes";
    EL02 Fatal 5 "The elevation model says that it is in degrees, and lies where no degree is", "give it its own system, for instance that of its UTM zone: gdal_edit.py -a_srs EPSG:326NN in.tif";
    EL03 Fatal 4 "The elevation model cannot be read", "give one raster file of heights with a coordinate reference system, e.g. GeoTIFF; builds without GDAL cannot read rasters";
    EL04 Warning 1 "Heights or slopes under the turf are impossible; the assumed slope was used", "declare the raster's no-data value (gdal_edit -a_nodata), and see that heights are in metres between -500 and 9000";
    EL05 Fatal 4 "A part of the elevation model cannot be read", "write the raster anew; a broken download is the usual cause";
    // Catch-can audits, sheets and what is read back out of a plan.
    AU01 Fatal 4 "A catch-can reading is negative or not a number", "correct the cell, or empty it where the can was knocked over";
    AU02 Fatal 4 "There are too few catch-can readings", "set at least 4 cans; 24 or more in a station, a number divisible by four, is common practice";
    AU03 Fatal 4 "No can caught anything", "run the station while the cans stand on it, and check that it is the right one";
    AU04 Fatal 4 "The readings cannot be turned into depths", "give a column depth_mm, or volume_ml with --diameter-mm, the inside diameter of the cans' mouth";
    PA01 Fatal 3 "The folder does not hold a finished plan", "name the folder that `evenfall plan -o` wrote";
    PA02 Fatal 3 "The plan has no such parcel", "see the column parcel_id of parcels.csv; ids are text, zeros in front count";
    PA03 Fatal 3 "A file of the plan is missing or cannot be read", "plan again into this folder with --overwrite, as GeoJSON and without --layers";
    PA04 Fatal 4 "The filled-in list does not belong to this parcel", "fill in the as_built columns of the parcel's rows of walk.csv and keep the column head_id";
    PA05 Note 0 "No PDF was made", "install Chromium (or name a browser of that kind with --browser), or print the HTML page to PDF from any browser";
    // The water supply.
    HY01 Partial 1 "The pressure is too low for the heads of any scenario", "check the readings in the supply layer; a pump, or another point of connection, may be needed";
    HY02 Partial 1 "The safe flow of the supply is zero or negative", "give flow_lpm in litres a minute, or leave it empty to reckon it from the meter's size";
    HY03 Note 0 "One head draws more than the safe flow of the supply", "choose a smaller nozzle or a larger supply; the head has a station of its own";
    HY04 Note 0 "A meter has no size; the assumed one was used", "give size_mm in the supply layer";
    HY05 Note 0 "A point of the supply layer is of no known kind and was left out", "write meter, point-of-connection, valve, controller or pump";
    HY06 Note 0 "A point of the supply layer belongs to no parcel and was left out", "correct its parcel_id, or its position: within 10 m of the parcel";
    HY07 Partial 1 "The flows and pressures of a station could not be brought to agree; the station has no result", "please report the parcel; the other stations were solved";
    // The water meter.
    ME01 Note 0 "A period of the meter overlaps another or has no days; the parcel's meter is not used", "give every day once: `end` is the day of the read and the `start` of the next period";
    ME02 Note 0 "Periods of the meter are missing", "give a whole year of reads, the winter included";
    ME03 Note 0 "A metered volume is negative or beyond belief; the parcel's meter is not used", "correct the volume, in cubic metres";
    ME04 Note 0 "The meter table has ids that no parcel has; they were left out", "write the id as in the parcel layer, with its zeros";
    ME05 Warning 1 "Several parcels have the id of a meter; its rows stay with the first of them", "make ids unique, or give --repeated-ids join for parts of one parcel";
    // Planning one parcel.
    PL01 Partial 1 "No family of the catalogue fits the turf area", "consider drip or another plant; the area is flagged";
    PL02 Partial 1 "The turf area needs more heads or cells than the budget for one area allows", "split the area, or plan it with a family that throws farther";
    PL03 Failed 1 "The plan of the parcel broke off inside the program", "please report the parcel; the others were planned";
    PL04 Partial 1 "The turf areas of the parcel together need more heads than the budget for one parcel allows", "split the parcel; its first turf areas were planned";
    PL05 Note 0 "The parcel has so many heads or obstacles that its stations or pipes were worked out coarsely", "split the parcel where its water may be planned apart";
    // The program: rules, allotment, inspection, receipts.
    PR01 Fatal 8 "A rule or a total names something that is not there", "name a column of the parcel layer or of parcels.csv";
    PR02 Fatal 2 "The budget cannot be used", "give an amount of zero or more, in the program's currency";
    PR03 Fatal 9 "The budget is below the ceiling of the cheapest parcel", "give a larger budget";
    PR04 Fatal 9 "No parcel can be funded", "see ineligible_reason and claimed_m3_yr in parcels.csv, and the rebate rule in the program file";
    PR05 Fatal 2 "A floor cannot be used", "write --floor COLUMN=VALUE:AMOUNT with a value that the column has; floors may not add up to more than the budget";
    PR06 Fatal 4 "The table names a parcel that is not there", "use the ids of parcels.csv, as text";
    PR07 Partial 1 "Parcels of the sample have no findings", "fill in their rows, or say why they could not be visited; the ratio rests on the others";
    PR08 Fatal 9 "No finding can be used", "fill in the counts, or verified_m3_yr, of at least one visited parcel";
    // Writing and running.
    OU01 Fatal 6 "The output folder exists", "name another folder, or add --overwrite";
    OU02 Fatal 6 "The output cannot be created", "check the folder's rights and the file system";
    OU03 Fatal 7 "Writing failed", "free space on the disk and run again";
    OU04 Fatal 3 "The folder does not hold a finished run", "name the folder given to `plan -o`";
    OU05 Fatal 6 "The journal of a run that did not finish lies beside the output", "add --resume to go on with it, or remove the journal to begin anew";
    OU06 Fatal 6 "The journal beside the output is of another run", "give the inputs and settings of that run to go on with it, or remove the journal to begin anew";
    OU07 Fatal 3 "The journal or the file of records cannot be read", "remove the journal to begin anew, or plan the shard again";
    OU08 Fatal 6 "An input of the run lies where an output would be written over it", "name another output folder, or move the input out of it";
    SH01 Fatal 3 "A shard of the run is missing", "plan it with --shard, and name its folder too";
    SH02 Fatal 4 "The shards are not of one run", "plan all shards with the same inputs, settings and number of shards";
    SH03 Fatal 4 "Two shards hold the same part of the run", "name each shard's folder once";
    RU01 Fatal 2 "The command line cannot be understood", "see `evenfall --help`";
    RU02 Fatal 10 "The program failed inside", "please report the command and the input";
    RU03 Fatal 130 "The run was interrupted", "run the same command again, with --resume to go on where it stopped";
    RU04 Fatal 143 "The run was told to stop", "run the same command again, with --resume to go on where it stopped";
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text())
    }
}

/// Where in a text the offending thing stands, for whoever shows it: a spot is not a part of what an
/// issue says, and outputs do not depend on it.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub enum Spot {
    /// A whole line, 1-based.
    Line(u64),
    /// A part of a line.
    Columns {
        /// The line, 1-based.
        line: u64,
        /// Where the part begins, 1-based \[bytes\].
        column: u64,
        /// How long it is \[bytes\].
        bytes: u64,
    },
    /// A cell of a table.
    Cell {
        /// The line where its row begins, 1-based.
        line: u64,
        /// The cell, 0-based.
        cell: usize,
        /// What stands between cells.
        separator: char,
    },
    /// A part of what was typed on the command line.
    Typed {
        /// What was typed.
        text: String,
        /// Where the part begins \[bytes\].
        from: usize,
        /// Where it ends \[bytes\].
        to: usize,
    },
}

impl Spot {
    /// The spot of some bytes of a text; of those on the first line where they are on several.
    #[must_use]
    pub fn of_bytes(text: &str, bytes: std::ops::Range<usize>) -> Spot {
        let text = text.as_bytes();
        let start = bytes.start.min(text.len());
        let end = bytes.end.clamp(start, text.len());
        let line_start = text[..start]
            .iter()
            .rposition(|&byte| byte == b'\n')
            .map_or(0, |at| at + 1);
        let first_line = text[start..end]
            .iter()
            .take_while(|&&byte| byte != b'\n')
            .count();
        Spot::Columns {
            line: 1 + text[..start].iter().filter(|&&byte| byte == b'\n').count() as u64,
            column: 1 + (start - line_start) as u64,
            bytes: first_line as u64,
        }
    }

    /// Its line, 1-based; 1 for what was typed.
    #[must_use]
    pub fn line(&self) -> u64 {
        match self {
            Spot::Line(line) | Spot::Columns { line, .. } | Spot::Cell { line, .. } => *line,
            Spot::Typed { .. } => 1,
        }
    }
}

/// Where an issue was found. Every part is optional; those given are printed from the outside in.
#[derive(Debug, Clone, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
pub struct Place {
    /// The input's name as the user gave it.
    pub file: Option<String>,
    /// 1-based number of the feature, record or table row.
    pub feature: Option<u64>,
    /// The parcel's id.
    pub parcel: Option<String>,
    /// The turf area's id or 1-based number in its parcel.
    pub turf: Option<String>,
    /// 0-based ring of the polygon; 0 is the outer ring.
    pub ring: Option<usize>,
    /// 0-based vertex of the ring.
    pub vertex: Option<usize>,
    /// Where in the text; not printed.
    pub spot: Option<Spot>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut parts: Vec<String> = Vec::new();
        if let Some(file) = &self.file {
            parts.push(file.clone());
        }
        if let Some(feature) = self.feature {
            parts.push(format!("feature {feature}"));
        }
        if let Some(parcel) = &self.parcel {
            parts.push(format!("parcel {parcel}"));
        }
        if let Some(turf) = &self.turf {
            parts.push(format!("turf {turf}"));
        }
        if let Some(ring) = self.ring {
            parts.push(format!("ring {ring}"));
        }
        if let Some(vertex) = self.vertex {
            parts.push(format!("vertex {vertex}"));
        }
        f.write_str(&parts.join(", "))
    }
}

/// One thing that went wrong, was mended or was assumed.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Issue {
    /// The row of the table.
    pub code: Code,
    /// Where it was found; apart, so that a `Result` stays small.
    pub place: Box<Place>,
    /// What was found, and what is allowed where that helps; may be empty.
    pub found: String,
}

impl Issue {
    /// Makes an issue without a place; see [`Issue::in_file`] and its siblings.
    #[must_use]
    pub fn new(code: Code, found: impl Into<String>) -> Issue {
        Issue {
            code,
            place: Box::default(),
            found: found.into(),
        }
    }

    /// Adds the input's name.
    #[must_use]
    pub fn in_file(mut self, file: impl Into<String>) -> Issue {
        self.place.file = Some(file.into());
        self
    }

    /// Adds the 1-based number of the feature, record or row.
    #[must_use]
    pub fn at_feature(mut self, feature: u64) -> Issue {
        self.place.feature = Some(feature);
        self
    }

    /// Adds the parcel's id.
    #[must_use]
    pub fn of_parcel(mut self, parcel: impl Into<String>) -> Issue {
        self.place.parcel = Some(parcel.into());
        self
    }

    /// Adds the turf area.
    #[must_use]
    pub fn of_turf(mut self, turf: impl Into<String>) -> Issue {
        self.place.turf = Some(turf.into());
        self
    }

    /// Adds the 0-based ring and vertex.
    #[must_use]
    pub fn at_vertex(mut self, ring: usize, vertex: usize) -> Issue {
        self.place.ring = Some(ring);
        self.place.vertex = Some(vertex);
        self
    }

    /// Adds where in the text it stands.
    #[must_use]
    pub fn at_spot(mut self, spot: Spot) -> Issue {
        self.place.spot = Some(spot);
        self
    }

    /// How far the issue reaches.
    #[must_use]
    pub fn severity(&self) -> Severity {
        self.code.severity()
    }

    /// Whether it is shown without being asked for: it is more than a note.
    #[must_use]
    pub fn is_reported(&self) -> bool {
        self.severity() > Severity::Note
    }

    /// Whether something could not be planned for it: it is more than a note or a warning.
    #[must_use]
    pub fn is_grave(&self) -> bool {
        self.severity() >= Severity::Partial
    }

    /// What was found and where, without code and remedy.
    #[must_use]
    pub fn statement(&self) -> String {
        if self.found.is_empty() {
            self.code.sentence().to_owned()
        } else {
            format!("{}: {}", self.code.sentence(), self.found)
        }
    }
}

impl fmt::Display for Issue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.code, self.statement())?;
        let place = self.place.to_string();
        if !place.is_empty() {
            write!(f, " [{place}]")?;
        }
        write!(f, ". To mend it: {}.", self.code.remedy())
    }
}

impl std::error::Error for Issue {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_says_what_and_what_next() {
        assert!(Code::ALL.len() > 30);
        for code in Code::ALL {
            assert_eq!(code.text().len(), 4, "{code}");
            assert!(code.sentence().len() > 10, "{code}");
            assert!(code.remedy().len() > 10, "{code}");
            assert!(
                !code.sentence().ends_with('.'),
                "{code}: the printer adds the stop"
            );
            match code.severity() {
                Severity::Note => assert_eq!(code.exit_status(), 0, "{code}"),
                Severity::Warning | Severity::Partial | Severity::Failed => {
                    assert_eq!(code.exit_status(), 1, "{code}")
                }
                Severity::Fatal => assert!(code.exit_status() >= 2, "{code}"),
            }
        }
    }

    #[test]
    fn a_message_names_place_and_remedy() {
        let issue = Issue::new(Code::GE03, "2 different points")
            .in_file("lawns.geojson")
            .at_feature(7)
            .of_parcel("00017")
            .at_vertex(1, 2);
        assert_eq!(
            issue.to_string(),
            "GE03 A ring has fewer than three different points: 2 different points \
             [lawns.geojson, feature 7, parcel 00017, ring 1, vertex 2]. To mend it: draw the ring anew."
        );
    }
}
