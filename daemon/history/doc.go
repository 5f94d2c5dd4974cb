// Package history keeps the air and the output of the presses for years, in an SQLite file
// beside the journal: each sensor's readings for two weeks, its minutes for a year and its
// quarter-hours for good; the quarter-hours of each zone's air, with mean, lowest and highest
// value; prints and rejects by quarter-hour; and one row for each batch that ended.
//
// [Recorder] takes the readings on their way to the bench and follows the journal. All times are
// bench time. What comes from the journal can be made again from it: a lost file costs the
// sensors' own readings and what was imported, nothing else. Rows that a person imported from
// paper records have the source [Paper]; they never reach the journal, and so never the state.
package history
