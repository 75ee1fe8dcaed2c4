//! Lists with filters: the database's answer is the one that the domain gives.

use anyhow::Context;
use benchring_domain::disclosure::{Interest, Licence};
use benchring_domain::filter::{Filter, Filtered};
use benchring_domain::standing::Decision;
use benchring_store::{Store, TrialCursor, TrialQuery, TrialRow, Visibility};

use crate::database::TestDatabase;
use crate::on_both;
use crate::trials::decide;
use crate::values::{by, furnish, new_trial, pack_model, specimen, time};

on_both!(every_comparison_and_pair_of_them_agrees_with_the_domain, a_filter_pages_and_hides_as_any_list);

const COMPARISONS: &[&str] = &[
    "standing = accepted",
    "standing != pending",
    "tester = \"testers/t02\"",
    "tester != \"testers/t02\"",
    "method = \"methods/screw-drive-time/versions/2\"",
    "method != \"methods/screw-drive-time/versions/1\"",
    "pack_model = \"packModels/k8\"",
    "pack_model != \"packModels/k8\"",
    "pack_model = \"packModels/nobody\"",
    "pack_specimen = \"packSpecimens/k5-1\"",
    "pack_specimen != \"packSpecimens/k9-1\"",
    "tool_model = \"toolModels/driver-1\"",
    "tool_model != \"toolModels/driver-1\"",
    "demand_class = d2",
    "demand_class != d2",
    "demand_class = unknown",
    "interest = sponsored",
    "licence != \"CC-BY-4.0\"",
    "submit_time = \"2026-02-25T06:14:20Z\"",
    "submit_time != \"2026-02-25T06:14:20.0000001Z\"",
    "submit_time < \"2026-02-25T06:14:20.0000001Z\"",
    "submit_time <= \"2026-02-25T06:14:20Z\"",
    "submit_time > \"2026-02-25T06:14:20Z\"",
    "submit_time >= \"2026-02-25T06:14:20.0000001Z\"",
    "performed_time >= \"2026-02-25T05:13:20Z\"",
    "performed_time < \"2026-02-25T05:13:20Z\"",
];

/// Six trials that differ in everything that can be compared.
async fn club(store: &Store) -> anyhow::Result<()> {
    furnish(store).await?;
    store.pack_model_add(pack_model("k9")?, by("t01", 0)?).await?;
    store.pack_specimen_add(specimen("k9-1", "k9", "t01")?, by("t01", 0)?).await?;
    for i in 0..6_i64 {
        let mut new = new_trial(&format!("t{i}"), &format!("t0{}", 1 + i % 2))?;
        let (trial, summary) = (&mut new.checked.trial, &mut new.checked.summary);
        trial.method.version = if i == 3 { 2 } else { 1 };
        trial.tool_model = if i % 3 == 0 { None } else { trial.tool_model.take() };
        trial.interest = if i > 3 { Interest::Sponsored } else { Interest::None };
        trial.licence = if i % 2 == 0 { Licence::CcBy } else { Licence::Odbl };
        trial.performed_time = time(-i * 1000)?;
        summary.demand_class = match i % 3 {
            0 => None,
            class => Some(format!("d{}", class + 1)),
        };
        if i % 2 == 1 {
            trial.arms.pop();
            summary.arms.pop();
        }
        if i == 4 {
            trial.arms[1].specimen = specimen("k9-1", "k9", "t01")?.id;
            summary.arms[1].specimen = trial.arms[1].specimen.clone();
            summary.arms[1].pack_model = pack_model("k9")?.id;
        }
        store.trial_add(new, by("t01", 50 + i * 5)?).await?;
    }
    decide(store, "t1", Decision::Accept, 100).await?;
    decide(store, "t2", Decision::Accept, 100).await?;
    decide(store, "t5", Decision::Reject, 100).await?;
    Ok(())
}

fn filtered(row: &TrialRow) -> Filtered {
    let TrialRow { trial, summary, .. } = row;
    Filtered {
        standing: row.standing,
        tester: row.tester.clone(),
        method: trial.method.clone(),
        pack_models: summary.arms.iter().map(|arm| arm.pack_model.clone()).collect(),
        pack_specimens: summary.arms.iter().map(|arm| arm.specimen.clone()).collect(),
        tool_model: trial.tool_model.clone(),
        demand_class: summary.demand_class.clone(),
        interest: trial.interest,
        licence: trial.licence,
        submit_time: row.submit_time,
        performed_time: trial.performed_time,
    }
}

/// Every comparison, the opposite of each, and every pair of them joined both ways.
fn filters() -> Vec<String> {
    let mut filters: Vec<String> = Vec::new();
    for one in COMPARISONS {
        filters.push((*one).to_owned());
        filters.push(format!("NOT {one}"));
        for other in COMPARISONS {
            filters.push(format!("{one} AND NOT ({other})"));
            filters.push(format!("NOT ({one} OR {other})"));
        }
    }
    filters
}

async fn every_comparison_and_pair_of_them_agrees_with_the_domain(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    club(&store).await?;
    let everything = store.trial_list(&TrialQuery::new(Visibility::All, 50)).await?;
    assert_eq!(everything.len(), 6);
    let (mut some, mut most) = (0, 0);
    for text in filters() {
        let filter = Filter::parse(&text).with_context(|| text.clone())?.context("a filter")?;
        let expected: Vec<_> = everything.iter().filter(|row| filter.passes(&filtered(row))).collect();
        let query = TrialQuery { filter: Some(filter), ..TrialQuery::new(Visibility::All, 50) };
        let rows = store.trial_list(&query).await?;
        assert_eq!(rows.iter().collect::<Vec<_>>(), expected, "{text}");
        some += usize::from(!rows.is_empty() && rows.len() < 6);
        most += 1;
    }
    assert!(some * 2 > most, "the club tells most filters apart: {some} of {most}");
    Ok(store.close().await?)
}

async fn a_filter_pages_and_hides_as_any_list(ring: &TestDatabase) -> anyhow::Result<()> {
    let store = ring.open().await?;
    club(&store).await?;
    // An OR must not open what is hidden.
    let text = "standing = rejected OR standing = accepted OR pack_model = \"packModels/k5\"";
    let mut query = TrialQuery { filter: Filter::parse(text)?, ..TrialQuery::new(Visibility::Public, 1) };
    let mut seen = Vec::new();
    while let Some(row) = store.trial_list(&query).await?.pop() {
        let submit_time = row.submit_time.as_microsecond();
        query.after = Some(TrialCursor { submit_time, id: row.id.clone() });
        seen.push(row.id.to_string());
        anyhow::ensure!(seen.len() < 10, "the pages do not end: {seen:?}");
    }
    assert_eq!(seen, ["t2", "t1"]);
    Ok(store.close().await?)
}
