//! Critical values without a closed form, by own simulation with four million samples each.
//!
//! They agree with the printed tables of ISO 5725-2:1994 (pair) within 0.0005. The values that Dixon printed in 1953 lie up
//! to 0.005 away.

/// Critical values at one count of values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// n, the count of values.
    pub count: usize,
    /// At the level of 1 %.
    pub one_percent: f64,
    /// At the level of 5 %.
    pub five_percent: f64,
}

/// Share of the squares that is left without the two highest or two lowest, half of the level at each end.
pub(super) const PAIR: &[Row] = &[
    Row { count: 4, one_percent: 0.000_007_548_77, five_percent: 0.000_189_69 },
    Row { count: 5, one_percent: 0.001_740_61, five_percent: 0.008_952_57 },
    Row { count: 6, one_percent: 0.011_563_2, five_percent: 0.034_833_4 },
    Row { count: 7, one_percent: 0.030_856_1, five_percent: 0.070_874_6 },
    Row { count: 8, one_percent: 0.056_294_5, five_percent: 0.110_239 },
    Row { count: 9, one_percent: 0.085_182_2, five_percent: 0.149_264 },
    Row { count: 10, one_percent: 0.114_8, five_percent: 0.186_35 },
    Row { count: 11, one_percent: 0.144_762, five_percent: 0.221_39 },
    Row { count: 12, one_percent: 0.174_215, five_percent: 0.253_792 },
    Row { count: 13, one_percent: 0.201_593, five_percent: 0.283_473 },
    Row { count: 14, one_percent: 0.228_278, five_percent: 0.311_363 },
    Row { count: 15, one_percent: 0.252_853, five_percent: 0.336_625 },
    Row { count: 16, one_percent: 0.276_752, five_percent: 0.360_407 },
    Row { count: 17, one_percent: 0.299_155, five_percent: 0.382_297 },
    Row { count: 18, one_percent: 0.319_985, five_percent: 0.402_501 },
    Row { count: 19, one_percent: 0.339_896, five_percent: 0.421_444 },
    Row { count: 20, one_percent: 0.358_571, five_percent: 0.439_178 },
    Row { count: 25, one_percent: 0.437_736, five_percent: 0.512_353 },
    Row { count: 30, one_percent: 0.498_751, five_percent: 0.567_279 },
    Row { count: 35, one_percent: 0.547_082, five_percent: 0.610_125 },
    Row { count: 40, one_percent: 0.586_027, five_percent: 0.644_43 },
];

/// Dixon's ratio at one end that was chosen beforehand.
pub(super) const DIXON_ONE_SIDED: &[Row] = &[
    Row { count: 3, one_percent: 0.988_025, five_percent: 0.941_338 },
    Row { count: 4, one_percent: 0.889_48, five_percent: 0.765_726 },
    Row { count: 5, one_percent: 0.780_988, five_percent: 0.642_298 },
    Row { count: 6, one_percent: 0.698_097, five_percent: 0.562_297 },
    Row { count: 7, one_percent: 0.637_157, five_percent: 0.507_447 },
    Row { count: 8, one_percent: 0.680_682, five_percent: 0.554_016 },
    Row { count: 9, one_percent: 0.634_507, five_percent: 0.511_303 },
    Row { count: 10, one_percent: 0.597_373, five_percent: 0.477_83 },
    Row { count: 11, one_percent: 0.674_348, five_percent: 0.574_815 },
    Row { count: 12, one_percent: 0.642_823, five_percent: 0.545_598 },
    Row { count: 13, one_percent: 0.617_528, five_percent: 0.521_27 },
    Row { count: 14, one_percent: 0.640_75, five_percent: 0.545_431 },
    Row { count: 15, one_percent: 0.617_789, five_percent: 0.524_005 },
    Row { count: 16, one_percent: 0.597_75, five_percent: 0.505_262 },
    Row { count: 17, one_percent: 0.579_696, five_percent: 0.488_88 },
    Row { count: 18, one_percent: 0.564_473, five_percent: 0.474_735 },
    Row { count: 19, one_percent: 0.550_252, five_percent: 0.461_689 },
    Row { count: 20, one_percent: 0.537_759, five_percent: 0.450_012 },
    Row { count: 25, one_percent: 0.489_128, five_percent: 0.405_734 },
    Row { count: 30, one_percent: 0.455_609, five_percent: 0.375_749 },
];

/// The larger of Dixon's ratios at both ends.
pub(super) const DIXON_TWO_SIDED: &[Row] = &[
    Row { count: 3, one_percent: 0.994_006, five_percent: 0.970_289 },
    Row { count: 4, one_percent: 0.920_853, five_percent: 0.829_898 },
    Row { count: 5, one_percent: 0.822_915, five_percent: 0.710_426 },
    Row { count: 6, one_percent: 0.742_478, five_percent: 0.627_216 },
    Row { count: 7, one_percent: 0.680_918, five_percent: 0.569_066 },
    Row { count: 8, one_percent: 0.718_527, five_percent: 0.607_956 },
    Row { count: 9, one_percent: 0.672_386, five_percent: 0.564_398 },
    Row { count: 10, one_percent: 0.635_316, five_percent: 0.529_916 },
    Row { count: 11, one_percent: 0.707_01, five_percent: 0.620_728 },
    Row { count: 12, one_percent: 0.675_674, five_percent: 0.590_323 },
    Row { count: 13, one_percent: 0.649_503, five_percent: 0.565_453 },
    Row { count: 14, one_percent: 0.670_422, five_percent: 0.586_171 },
    Row { count: 15, one_percent: 0.647_767, five_percent: 0.564_653 },
    Row { count: 16, one_percent: 0.627_6, five_percent: 0.545_505 },
    Row { count: 17, one_percent: 0.609_477, five_percent: 0.528_761 },
    Row { count: 18, one_percent: 0.593_825, five_percent: 0.514_268 },
    Row { count: 19, one_percent: 0.579_392, five_percent: 0.500_813 },
    Row { count: 20, one_percent: 0.566_698, five_percent: 0.488_845 },
    Row { count: 25, one_percent: 0.517_424, five_percent: 0.442_978 },
    Row { count: 30, one_percent: 0.482_902, five_percent: 0.411_631 },
];

/// The row at `count`; between two rows of the table a straight line in n. None outside the table.
pub(super) fn row(table: &[Row], count: usize) -> Option<Row> {
    let above = table.iter().position(|row| row.count >= count)?;
    let next = table[above];
    if next.count == count {
        return Some(next);
    }
    let last = *table.get(above.checked_sub(1)?)?;
    let share = (count - last.count) as f64 / (next.count - last.count) as f64;
    let between = |from: f64, to: f64| from + share * (to - from);
    Some(Row {
        count,
        one_percent: between(last.one_percent, next.one_percent),
        five_percent: between(last.five_percent, next.five_percent),
    })
}
