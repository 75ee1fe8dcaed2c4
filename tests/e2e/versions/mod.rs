//! Answers as of earlier versions, and tags that change when an answer can and at no other time.

mod again;
mod club;
mod tags;
mod weight;
