// Package verify judges checks of instruments: of a scale with test weights, and of a humidity
// sensor with saturated salts or a reference meter. It is pure.
//
// A check tells how an instrument is now. It is no verification under legal metrology: that is the
// business of the authority, as local rules say.
package verify
