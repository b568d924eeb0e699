//! What can hurt someone, in words that every output reuses.

use serde::{Deserialize, Serialize};

/// One caution: what it is about, and the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Caution {
    /// What it is about.
    pub about: About,
    /// The text, plain English.
    pub text: &'static str,
}

/// What a caution is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum About {
    /// DC voltage in daylight, arcs.
    Shock,
    /// Highest voltage in cold sun.
    ColdMornings,
    /// Fire rules.
    Fire,
    /// Wind, snow, ballast.
    Structure,
    /// Falls and other dangers of work on a roof.
    RoofWork,
    /// An estimate is no promise.
    Estimate,
    /// Codes and licensed people come first.
    Authority,
}

/// Daylight makes voltage.
pub const SHOCK: Caution = Caution {
    about: About::Shock,
    text: "Electric shock and DC arc: modules give voltage whenever light falls on them and cannot be switched off. \
           A string carries hundreds of volts that can kill. Never open a DC connector under load: the arc does not \
           go out by itself. Work on strings is for qualified persons with the right isolation and protection.",
};

/// Cold makes the voltage highest.
pub const COLD_MORNINGS: Caution = Caution {
    about: About::ColdMornings,
    text: "Cold mornings: a string's voltage is highest in cold, bright air. The check holds for the temperature \
           entered; enter the extreme low that your code names for the place, not the lowest hour of a typical year. \
           Above a rated voltage, equipment can fail and start a fire.",
};

/// Layout is no proof of fire safety.
pub const FIRE: Caution = Caution {
    about: About::Fire,
    text: "Fire: access paths, setbacks, rapid shutdown, arc-fault and earth-fault protection follow local rules. \
           A layout that fits here does not show that these rules are met; ask the fire authority.",
};

/// Loads are compared, never computed.
pub const STRUCTURE: Caution = Caution {
    about: About::Structure,
    text: "Structure: wind, snow and ballast loads of the site are not computed here. A module's design load says \
           nothing about the roof. A licensed structural engineer must set the site load and approve roof, racking \
           and clamps.",
};

/// Roofs are dangerous.
pub const ROOF_WORK: Caution = Caution {
    about: About::RoofWork,
    text: "Roof work: falls kill. Plan edge protection, safe access and limits for wind, ice and heat before anyone \
           goes up; look for brittle sheets, roof lights and asbestos.",
};

/// Estimates.
pub const ESTIMATE: Caution = Caution {
    about: About::Estimate,
    text: "Estimates: energy figures are estimates within the doubt stated, for a typical year that no real year \
           will match. They are no guarantee and no financial advice.",
};

/// Who decides.
pub const AUTHORITY: Caution = Caution {
    about: About::Authority,
    text: "Authority: local codes, the network operator's terms and the judgement of licensed professionals come \
           before anything printed here.",
};

/// All cautions, in the order of a report.
pub const ALL: [Caution; 7] = [SHOCK, COLD_MORNINGS, FIRE, STRUCTURE, ROOF_WORK, ESTIMATE, AUTHORITY];

/// Those that go with strings and voltages.
pub const STRINGS: [Caution; 4] = [SHOCK, COLD_MORNINGS, FIRE, AUTHORITY];

/// Those that go with modules on a roof.
pub const ROOF: [Caution; 4] = [FIRE, STRUCTURE, ROOF_WORK, AUTHORITY];

/// Those that go with loads.
pub const LOADS: [Caution; 3] = [STRUCTURE, ROOF_WORK, AUTHORITY];
