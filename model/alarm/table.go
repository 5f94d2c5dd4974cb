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
		Cause:    "the earliest end of the batch is near, and there is just enough time to make the next mix",
		Limit:    "the sum of alarms.ending_before, alarms.mixing_takes and the ink's rest before the low end",
		Response: "Begin the next mix now, and plan the change of the cup.",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchRisk, Subject: Batch, Priority: High,
		Cause:    "the batch may have gone off",
		Limit:    "a risk of alarms.stop_at_risk (0.25)",
		Response: "Stop printing with it. Look at the ink. If it is good, record that; otherwise change the cup.",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchDead, Subject: Batch, Priority: High,
		Cause:    "the batch has probably gone off",
		Limit:    fmt.Sprintf("a risk of %v", DeadRisk),
		Response: "Unload the batch, discard it, close it, and check the last prints.",
		Delays:   Delays{Off: time.Minute},
	},
	{
		Name: BatchLeftOpen, Subject: Batch, Priority: Low,
		Cause:    "the batch is past its latest end and nobody has closed it",
		Limit:    fmt.Sprintf("a risk of %v, the high end", LeftOpenRisk),
		Response: "Discard the rest, close the batch, and record whether it was still good.",
		Delays:   Delays{On: 10 * time.Minute, Off: time.Minute},
	},
	{
		Name: LifeCut, Subject: Batch, Priority: Medium, NeedsAir: true,
		Cause:    "a change of the air has moved the expected end earlier",
		Limit:    "half an hour, or a quarter of the remaining life if that is less, but at least 5 min",
		Response: "Plan the next mix again. Look for the cause in the room: a door, a washer, the air conditioning.",
		Delays:   Delays{On: 5 * time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: RatioOff, Subject: Batch, Priority: High,
		Cause:    "the ratio of ink to hardener is out of tolerance, and nobody has corrected or accepted it",
		Limit:    "the ink's ratio_tolerance_pct (5 %); at the scale after " + inWords(Uncorrected),
		Response: "Correct it at the scale as the page says, continue with a reason, or discard the mix.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: ThinnerOff, Subject: Batch, Priority: Medium,
		Cause:    "the thinner is outside the ink's range, and nobody has corrected or accepted it",
		Limit:    "the ink's thinner_pct; at the scale after " + inWords(Uncorrected),
		Response: "Correct it at the scale as the page says, continue with a reason, or discard the mix.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: OrderWrong, Subject: Batch, Priority: High,
		Cause:    "thinner was poured before the hardener was stirred in, and nobody has accepted it",
		Limit:    "at the scale after " + inWords(Uncorrected),
		Response: "Stir it well, continue with a reason and expect a shorter life, or discard the mix.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: NoBatch, Subject: Press, Priority: High,
		Cause:    "prints are counted on a press that holds no batch",
		Limit:    "a print, until " + inWords(PrintsWithin) + " after the last",
		Response: "Load the batch that is on the press, or stop the press.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: NotChanged, Subject: Press, Priority: High,
		Cause:    "somebody has acknowledged that the batch is at risk or has gone off, and it is still on the press",
		Limit:    inWords(ChangeWithin) + " after batch-risk or batch-dead was acknowledged",
		Response: "Change the cup, or record that somebody looked at the ink and it is good.",
		Delays:   Delays{Off: 5 * time.Second},
	},
}

var ofAir = []Definition{
	{
		Name: AirOutOfRange, Subject: Zone, Priority: Medium, NeedsAir: true,
		Cause:    "the air is outside the range that inks are printed in",
		Limit:    fmt.Sprintf("%v to %v °C, at most %v %%; it ends %v K and %v %% inside the range", air.MinUsualC, air.MaxUsualC, air.MaxUsualPct, DeadBandC, DeadBandPct),
		Response: "Heat, cool or dry the room. Until then, look at the ink more often.",
		Delays:   Delays{On: time.Minute, Off: time.Minute},
	},
	{
		Name: CupSweating, Subject: Batch, Priority: Medium,
		Cause:    "the cup is colder than the dew point: water condenses into the ink",
		Limit:    fmt.Sprintf("the cup at the dew point, while air and age are well known; it ends %v K above it", SweatingBandK),
		Response: "Cover the cup until it is as warm as the room. Wipe it, and look at the ink before printing.",
		Delays:   Delays{On: time.Minute, Off: 5 * time.Minute},
	},
	{
		Name: SensorStale, Subject: Sensor, Priority: Medium,
		Cause:    "the sensor gives no readings",
		Limit:    "three failed readings in a row, or stale_after (5 min)",
		Response: "Check the sensor, its cable and its supply. Until it is back, warnings come earlier.",
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
		Cause:    "two sensors of one zone differ by more than their accuracies allow",
		Limit:    fmt.Sprintf("%v times the sum of their accuracies", DisagreeFactor),
		Response: "Put both side by side for an hour. Check the wrong one, and replace it.",
		Delays:   Delays{On: 5 * time.Minute, Off: 5 * time.Minute},
	},
}

var ofService = []Definition{
	{
		Name: ScaleSilent, Subject: Scale, Priority: Medium,
		Cause:    "the scale sends nothing that can be read",
		Limit:    "no port, or no line for 10 s",
		Response: "Check the scale: its power, its cable, and whether it sends.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: LightSilent, Subject: Light, Priority: High,
		Cause:    "a lamp that reports back does not confirm its message, or confirms another one",
		Limit:    "the light's confirm_within (10 s) after the message",
		Response: "Do not rely on that lamp: look at the page. Check its power and network. Cover it or take it off until it answers.",
		Delays:   Delays{Off: 5 * time.Second},
	},
	{
		Name: ClockUnset, Subject: Bench, Priority: Low,
		Cause:    ClockNotSet,
		Limit:    "the kernel reports it",
		Response: "Connect the network, or set the clock.",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: JournalFailing, Subject: Bench, Priority: High,
		Cause:    "the journal cannot write, or is slow to",
		Limit:    "a write that fails, or takes " + inWords(SlowWrite),
		Response: "Make room on the disk, or change the card. Until then, new mixes are refused.",
		Delays:   Delays{Off: 10 * time.Second},
	},
	{
		Name: BrokerAway, Subject: Bench, Priority: Medium,
		Cause:    "nothing can be published, so lights fall back to unknown; or the broker accepts the messages of a topic and does not deliver them, so its lamp or reader gets none",
		Limit:    "no connection for 5 s, or no message of a topic delivered for 10 s",
		Response: "Check the broker and the network, or allow potlifed's user to write and to read the topic in the message. Rely on the page until then.",
		Delays:   Delays{On: 5 * time.Second, Off: 10 * time.Second},
	},
	{
		Name: QueueLong, Subject: Bench, Priority: Low,
		Cause:    "many messages wait for the broker",
		Limit:    fmt.Sprintf("%v of them for 30 s; it ends below half of that", MostWaiting),
		Response: "Check the broker: it may be overloaded, or refuse a topic.",
		Delays:   Delays{On: 30 * time.Second, Off: time.Minute},
	},
	{
		Name: OtherInstance, Subject: Bench, Priority: High,
		Cause:    "another instance publishes under this bench's name, so this one publishes no light",
		Limit:    "a sign of it within 90 s",
		Response: "Stop the other instance, or give it a name of its own.",
		Delays:   Delays{Off: 10 * time.Second},
	},
}

func inWords(d time.Duration) string {
	if d < time.Minute {
		return fmt.Sprintf("%.0f s", d.Seconds())
	}
	return fmt.Sprintf("%.0f min", d.Minutes())
}
