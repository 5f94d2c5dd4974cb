package export

import (
	"encoding/json"
	"time"

	"potlifed/daemon/actor"
	"potlifed/daemon/history"
	"potlifed/daemon/view"
	"potlifed/model/mix"
	"potlifed/model/verify"
)

// Of is the first column of every table.
type Of struct {
	Bench string `json:"bench" doc:"name of the bench, so that tables of several can be read together"`
}

// Air is the air of a zone at one moment, as it was recorded; between two rows of a zone it went in a
// straight line.
type Air struct {
	Of
	Time          time.Time      `json:"time" doc:"time of the values"`
	Zone          string         `json:"zone" doc:"id of the zone"`
	TemperatureC  float64        `json:"temperature_c" doc:"air temperature in °C"`
	HumidityPct   float64        `json:"humidity_pct" doc:"relative humidity over liquid water in %"`
	DewPointC     *float64       `json:"dew_point_c,omitempty" doc:"dew point in °C; empty when the air is too dry to have one"`
	VapourDensity float64        `json:"vapour_density_g_m3" doc:"water vapour in g per m³ of air"`
	Quality       view.Quality   `json:"quality" doc:"good, uncertain (suspect or bridged) or bad (no reading)"`
	Source        history.Source `json:"source" doc:"bench: recorded by the bench; paper: imported"`
}

// Batch is a batch that ended.
type Batch struct {
	Of
	history.Batch
}

// Pour is a part of a mix as it was poured, or thinner that was added later.
type Pour struct {
	Of
	Time    time.Time `json:"time" doc:"when the weight first rose for the pour, or when it was confirmed or recorded"`
	Batch   string    `json:"batch" doc:"id of the batch"`
	Seq     uint64    `json:"seq" doc:"number of the batch's first event; an id is used again after a year"`
	Ink     string    `json:"ink" doc:"id of the batch's ink"`
	Part    mix.Part  `json:"part" doc:"ink, hardener or thinner"`
	MassG   float64   `json:"mass_g" doc:"mass in g"`
	Can     string    `json:"can,omitempty" doc:"id of the can that it came from"`
	Lot     string    `json:"lot,omitempty" doc:"lot number, as printed on the can"`
	InUse   bool      `json:"in_use" doc:"thinner that was added to a batch in use"`
	Weighed bool      `json:"weighed" doc:"the scale weighed it; false: a person reported it"`
}

// FlowTime is a flow time of a batch.
type FlowTime struct {
	Of
	Time            time.Time  `json:"time" doc:"when it was measured"`
	Batch           string     `json:"batch" doc:"id of the batch"`
	Seq             uint64     `json:"seq" doc:"number of the event"`
	Cup             string     `json:"cup" doc:"flow cup"`
	RunS            float64    `json:"run_s" doc:"flow time of the first run in s"`
	SecondRunS      *float64   `json:"second_run_s,omitempty" doc:"flow time of the second run in s; empty when there was none"`
	Agree           bool       `json:"agree" doc:"two runs agree; a flow time whose runs do not can only shorten the pot life"`
	InkTemperatureC *float64   `json:"ink_temperature_c,omitempty" doc:"temperature of the ink in °C; empty when it was not measured"`
	Viscosity       float64    `json:"viscosity_mm2_s" doc:"kinematic viscosity of the mean of the runs in mm²/s"`
	ThinnerPct      float64    `json:"thinner_pct" doc:"change of the share of thinner since the batch was mixed, in percentage points"`
	Corrects        *uint64    `json:"corrects,omitempty" doc:"seq of the row whose figures were wrong and do not count any more; empty for none"`
	By              actor.Name `json:"by" doc:"who measured it"`
}

// ScaleCheck is one load of a check of a scale with weights. The rows of a check have the same seq.
type ScaleCheck struct {
	Of
	Time        time.Time          `json:"time" doc:"when the check was recorded"`
	Local       string             `json:"local" doc:"the same time in the shop's time zone"`
	Scale       string             `json:"scale" doc:"id of the scale"`
	Seq         uint64             `json:"seq" doc:"number of the event"`
	By          actor.Name         `json:"by" doc:"who recorded it"`
	Class       verify.ScaleClass  `json:"class" doc:"accuracy class of the scale by OIML R 76: I, II, III or IIII"`
	IntervalG   float64            `json:"interval_g" doc:"verification scale interval e in g"`
	WeightClass verify.WeightClass `json:"weight_class" doc:"class of the weights by OIML R 111"`
	Result      verify.Verdict     `json:"result" doc:"of the whole check, the worst of its loads: passed, in-service or failed"`
	verify.LoadResult
	Note string `json:"note,omitempty" doc:"the weights' certificate, or anything worth keeping"`
}

// Prints are the prints of a press with a batch in a quarter-hour.
type Prints struct {
	Of
	history.Prints
}

// Defects are the rejects of a press by one kind of defect in a quarter-hour.
type Defects struct {
	Of
	history.Defects
}

// Check is a check of a sensor against a reference.
type Check struct {
	Of
	history.Check
}

// Alarm is a change of an alarm.
type Alarm struct {
	Of
	Time     time.Time  `json:"time" doc:"when it changed"`
	Seq      uint64     `json:"seq" doc:"number of the event"`
	Alarm    string     `json:"alarm" doc:"name of the alarm"`
	Subject  string     `json:"subject" doc:"id of the thing that the alarm is about"`
	Change   string     `json:"change" doc:"raised, returned, cleared, acknowledged, shelved, unshelved, suppressed or unsuppressed"`
	Priority string     `json:"priority,omitempty" doc:"high, medium or low"`
	Text     string     `json:"text,omitempty" doc:"what is wrong, or why it is silent"`
	By       actor.Name `json:"by" doc:"who changed it"`
}

// Event is an event of the journal.
type Event struct {
	Of
	Time    time.Time  `json:"time" doc:"when it was recorded"`
	Seq     uint64     `json:"seq" doc:"number of the event in its journal"`
	Journal string     `json:"journal" doc:"id of the journal; a new one numbers its events from 1"`
	Kind    string     `json:"kind" doc:"kind of event"`
	By      actor.Name `json:"by" doc:"who caused it"`
	Batch   string     `json:"batch,omitempty" doc:"id of the batch"`
	Press   string     `json:"press,omitempty" doc:"id of the press"`
	Event   string     `json:"event" doc:"the event with all its fields, as one JSON object"`
}

// fields are those of an event that have columns of their own.
func (e *Event) fields(event json.RawMessage) error {
	var f struct {
		Batch string `json:"batch"`
		Press string `json:"press"`
	}
	if err := json.Unmarshal(event, &f); err != nil {
		return err
	}
	e.Batch, e.Press, e.Event = f.Batch, f.Press, string(event)
	return nil
}
