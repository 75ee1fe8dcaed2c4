//! Source: own rule, members joined by a shared item; computed twice, in Python and R.

use benchring_stats::units::voting_units;

use crate::common::{cases, reference};

#[test]
fn members_that_share_an_item_are_one_unit() {
    let file = reference("order_and_units");
    let mine = || cases(&file).iter().filter(|case| case["kind"] == "voting_units");
    assert!(mine().count() >= 3);
    for case in mine() {
        let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
        let members = case["input"]["testers"].as_array().unwrap().iter().map(text);
        let uses =
            case["input"]["used"].as_array().unwrap().iter().map(|pair| (text(&pair[0]), text(&pair[1])));
        let got = voting_units(members, uses);
        let want = case["expected"].as_object().unwrap();
        assert_eq!(got.len(), want.len(), "{}", case["id"]);
        for (member, unit) in want {
            assert_eq!(&got[member], unit.as_str().unwrap(), "{} {member}", case["id"]);
        }
    }
}
