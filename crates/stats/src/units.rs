//! Who has a vote of its own: members joined by what they share.

use std::collections::BTreeMap;

/// Joins members that used the same item and returns, for each member, the name of its unit.
///
/// Two members who used one item share its error, so their evidence is not independent; they become one unit.
/// Sharing chains: if a and b share one item and b and c another, all three are one unit. A unit is named after its
/// first member in sort order. An item that nobody else used joins nobody, so unknown items are simply left out.
///
/// `members` may name members without any item; members that appear only in `uses` are included too.
pub fn voting_units<M: Ord + Clone, I: Ord>(
    members: impl IntoIterator<Item = M>,
    uses: impl IntoIterator<Item = (M, I)>,
) -> BTreeMap<M, M> {
    let mut place: BTreeMap<M, usize> = members.into_iter().map(|member| (member, 0)).collect();
    let mut by_item: BTreeMap<I, Vec<M>> = BTreeMap::new();
    for (member, item) in uses {
        place.entry(member.clone()).or_insert(0);
        by_item.entry(item).or_default().push(member);
    }
    for (rank, slot) in place.values_mut().enumerate() {
        *slot = rank;
    }
    let mut sets = DisjointSets::new(place.len());
    for sharing in by_item.values() {
        for pair in sharing.windows(2) {
            sets.join(place[&pair[0]], place[&pair[1]]);
        }
    }
    let names: Vec<M> = place.keys().cloned().collect();
    place.into_iter().map(|(member, rank)| (member, names[sets.first_of(rank)].clone())).collect()
}

/// Sets of numbers 0…n−1 that only ever merge; each is known by its smallest number.
#[derive(Debug, Clone)]
pub(crate) struct DisjointSets {
    parents: Vec<usize>,
}

impl DisjointSets {
    /// n sets of one.
    pub(crate) fn new(count: usize) -> Self {
        Self { parents: (0..count).collect() }
    }

    /// The smallest number of the set that holds `number`. Halves the path on the way.
    pub(crate) fn first_of(&mut self, mut number: usize) -> usize {
        while self.parents[number] != number {
            self.parents[number] = self.parents[self.parents[number]];
            number = self.parents[number];
        }
        number
    }

    /// Merges two sets.
    pub(crate) fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.first_of(a), self.first_of(b));
        self.parents[a.max(b)] = a.min(b);
    }
}
