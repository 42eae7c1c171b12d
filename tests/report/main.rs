//! The report: `report.json` against its schema, the page as markup, the table as text. All numbers here are invented.

mod data;
mod page;
mod sample;
mod table;
