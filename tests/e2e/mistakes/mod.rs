//! What makes home results wrong, one test for each mistake: the field that asks, the check that tells, or the number that
//! shows it.

mod at_the_bench;
mod bench;
mod in_the_answer;
mod in_the_units;
