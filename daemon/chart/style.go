package chart

import _ "embed"

// Style is the style sheet that the classes of the figures need.
//
//go:embed chart.css
var Style string
