// Package paper reads paper records: CSV files of climates and of batches, as a shop keeps
// them in a spreadsheet, and the history of the air that the API serves. Beside package
// outcomes, which reads the journal, it returns the evidence to which an ink's parameters
// are fitted.
package paper
