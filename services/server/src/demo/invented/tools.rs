//! The invented tools of the demo, all of the maker whose interface the packs fit.

/// A tool model.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tool {
    /// Its id as a resource.
    pub id: &'static str,
    /// Its designation.
    pub designation: &'static str,
    /// A choice of the catalogue.
    pub tool_type: &'static str,
    /// What testers set it to.
    pub setting: &'static str,
}

/// Index into [`TOOLS`] of each.
pub(super) mod tool {
    pub(in super::super) const DRIVER: usize = 0;
    pub(in super::super) const CIRCULAR_SAW: usize = 1;
    pub(in super::super) const CHAIN_SAW: usize = 2;
    pub(in super::super) const DRILL: usize = 3;
    pub(in super::super) const HEDGE_TRIMMER: usize = 4;
}

/// The tools.
pub const TOOLS: [Tool; 5] = [
    Tool { id: "kd1", designation: "KD1", tool_type: "impact_driver", setting: "step 3 of 3" },
    Tool { id: "kc2", designation: "KC2", tool_type: "circular_saw", setting: "full speed" },
    Tool { id: "kk3", designation: "KK3", tool_type: "chain_saw", setting: "full speed" },
    Tool { id: "kb4", designation: "KB4", tool_type: "drill_driver", setting: "gear 1, no torque limit" },
    Tool { id: "kh5", designation: "KH5", tool_type: "hedge_trimmer", setting: "speed 3 of 3" },
];
