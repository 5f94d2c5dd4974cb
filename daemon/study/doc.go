// Package study joins prints, rejects and batches, of the history or of exported and paper files,
// to the cells that package quality studies, and tells the result: as one answer for the API, the
// page and the command, and in sentences.
package study
