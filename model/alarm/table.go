package alarm

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"potlifed/model/air"
)

// byName puts the table into the order that Find needs.
func byName(table []Definition) []Definition {
	slices.SortFunc(table, func(a, b Definition) int { return cmp.Compare(a.Name, b.Name) })
	return table
}

func compareName(d Definition, name string) int { return strings.Compare(d.Name, name) }

var definitions = byName(slices.Concat(ofBatches, ofAir, ofService))

var ofBatches = []Definition{
	{
		Name: BatchEnding, Subject: Batch, Priority: Medium,
		Cause:    "the earliest end of the batch is near: there is just time to make the next mix",
		Limit:    "alarms.ending_before, alarms.mixing_takes and the ink's rest together before the low end",
		Response: "Begin the next mix now, and plan the change of the cup.",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchRisk, Subject: Batch, Priority: High,
		Cause:    "the batch may have gone off",
		Limit:    "a risk of alarms.stop_at_risk (0.25)",
		Response: "Stop printing with it. Look at the ink: if it is good say so, else change the cup.",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchDead, Subject: Batch, Priority: High,
		Cause:    "the batch has more likely gone off than not",
		Limit:    fmt.Sprintf("a risk of %v", DeadRisk),
		Response: "Take it off the press, discard it, close it, and check what was printed last.",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchLeftOpen, Subject: Batch, Priority: Low,
		Cause:    "the batch is past its latest end and nobody has closed it",
		Limit:    fmt.Sprintf("a risk of %v, the high end", LeftOpenRisk),
		Response: "Discard what is left and close the batch; say whether it was still good.",
		Delays:   Delays{On: 10 * time.Minute, Off: time.Minute},
	},
	{
		Name: LifeCut, Subject: Batch, Priority: Medium, NeedsAir: true,
		Cause:    "another air has moved the expected end earlier",
		Limit:    "half an hour, or a quarter of what was left where that is less, but not below 5 min",
		Response: "Plan the next mix anew. Look for the reason in the room: a door, a washer, the air conditioning.",
		Delays:   Delays{On: 5 * time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: RatioOff, Subject: Batch, Priority: High,
		Cause:    "hardener is out of the ink's ratio, and nobody has put it right or accepted it",
		Limit:    "the ink's ratio_tolerance_pct (5 %); at the scale after " + inWords(Uncorrected),
		Response: "Correct it at the scale as the page says, go on with a reason, or discard the mix.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: ThinnerOff, Subject: Batch, Priority: Medium,
		Cause:    "thinner is outside the ink's range, and nobody has put it right or accepted it",
		Limit:    "the ink's thinner_pct (10 to 20 %); at the scale after " + inWords(Uncorrected),
		Response: "Correct it at the scale as the page says, go on with a reason, or discard the mix.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: OrderWrong, Subject: Batch, Priority: High,
		Cause:    "thinner met hardener that was not stirred in, and nobody has accepted it",
		Limit:    "at the scale after " + inWords(Uncorrected),
		Response: "Stir it well; go on with a reason and expect a shorter life, or discard the mix.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: NoBatch, Subject: Press, Priority: High,
		Cause:    "prints are counted on a press that holds no batch",
		Limit:    "a print, until " + inWords(PrintsWithin) + " after the last",
		Response: "Say which batch is on the press, or stop it.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: NotChanged, Subject: Press, Priority: High,
		Cause:    "somebody has seen that the batch is at risk or dead, and it still stands on the press",
		Limit:    inWords(ChangeWithin) + " after batch-risk or batch-dead was acknowledged",
		Response: "Change the cup, or say that the ink was looked at and is good.",
		Delays:   Delays{Off: 5 * time.Second},
	},
}

var ofAir = []Definition{
	{
		Name: AirOutOfRange, Subject: Zone, Priority: Medium, NeedsAir: true,
		Cause:    "the air is outside the range that inks are printed in",
		Limit:    fmt.Sprintf("%v to %v °C, at most %v %%; over when back by %v K and %v %%", air.MinUsualC, air.MaxUsualC, air.MaxUsualPct, DeadBandC, DeadBandPct),
		Response: "Heat, cool or dry the room; until then look at the ink more often than the clock says.",
		Delays:   Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: CupSweating, Subject: Batch, Priority: Medium,
		Cause:    "the cup is colder than the dew point: water condenses into the ink",
		Limit:    fmt.Sprintf("the cup at its dew point, while air and age are well known; over %v K above it", SweatingBandK),
		Response: "Cover the cup until it is as warm as the room; wipe it, and look at the ink before printing.",
		Delays:   Delays{On: time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: SensorStale, Subject: Sensor, Priority: Medium,
		Cause:    "the sensor gives no readings",
		Limit:    "three readings that fail in a row, or stale_after (5 min)",
		Response: "Look at the sensor, its cable and its supply. Until it is back batches are warned of earlier.",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: SensorOverdue, Subject: Sensor, Priority: Low,
		Cause:    "the check of the sensor's humidity is overdue, or the last one failed",
		Limit:    "check_every after its last check; a difference beyond its accuracy and 1 % RH",
		Response: "Check it against salt points or a reference meter, and record the check. Until then the bands are wider.",
		Delays:   Delays{On: time.Minute, Off: time.Second},
	},
	{
		Name: Implausible, Subject: Sensor, Priority: Medium,
		Cause:    "the sensor gives values that the air of a room cannot have, or jumps as no room does",
		Limit:    "three readings in a row",
		Response: "Look for condensation or dirt on the sensor, let it dry, and replace it if that does not help.",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: Disagrees, Subject: Sensor, Priority: Medium, NeedsAir: true,
		Cause:    "two sensors of one zone differ by more than both can be wrong",
		Limit:    fmt.Sprintf("%v times the sum of their accuracies", DisagreeFactor),
		Response: "Put both side by side for an hour. Check the one that is wrong, and replace it.",
		Delays:   Delays{On: 5 * time.Minute, Off: 5 * time.Minute},
	},
}

var ofService = []Definition{
	{
		Name: ScaleSilent, Subject: Scale, Priority: Medium,
		Cause:    "the scale says nothing that can be read",
		Limit:    "no port, or no line for 10 s",
		Response: "Look at the scale: is it on, is its cable in, does it send?",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: LightSilent, Subject: Light, Priority: High,
		Cause:    "a lamp that reports back does not confirm what it was told to show, or confirms something else",
		Limit:    "the light's confirm_within (10 s) after it was told",
		Response: "Do not go by that lamp: look at the page. See whether it has power and network; cover it or take it off until it answers.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: ClockUnset, Subject: Bench, Priority: Low,
		Cause:    ClockNotSet,
		Limit:    "the kernel says so",
		Response: "Connect the network, or set the clock.",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: JournalFailing, Subject: Bench, Priority: High,
		Cause:    "the journal cannot write, or is slow to",
		Limit:    "a write that fails, or takes " + inWords(SlowWrite),
		Response: "Make room on the disk, or change the card. Until then new mixes are refused.",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: BrokerAway, Subject: Bench, Priority: Medium,
		Cause:    "nothing can be published, so that lights fall back to unknown; or the broker accepts the messages of a topic and does not deliver them, so that its lamp or reader gets none",
		Limit:    "no connection for 5 s, or nothing of a topic handed out for 10 s",
		Response: "Look at the broker and the network, or allow potlifed's user there to write and to read the topic that is named. Go by the page until then.",
		Delays:   Delays{On: 5 * time.Second, Off: 10 * time.Second},
	},
	{
		Name: QueueLong, Subject: Bench, Priority: Low,
		Cause:    "many messages wait for the broker",
		Limit:    fmt.Sprintf("%v of them for 30 s; over below half", MostWaiting),
		Response: "Look at the broker: is it overloaded, or does it refuse a topic?",
		Delays:   Delays{On: 30 * time.Second, Off: time.Minute},
	},
	{
		Name: OtherInstance, Subject: Bench, Priority: High,
		Cause:    "another program speaks under this bench's name: no light is claimed",
		Limit:    "a sign of it within 90 s",
		Response: "Stop the other one, or give it a name of its own.",
		Delays:   Delays{Off: 10 * time.Second},
	},
}

func inWords(d time.Duration) string {
	if d < time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}
