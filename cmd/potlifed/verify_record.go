package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/request"
	"potlifed/daemon/view"
	"potlifed/model/verify"
)

// recordOptions say where a check is recorded.
type recordOptions struct {
	id, config, tokenFile, note string
}

func (o *recordOptions) flags(c *cobra.Command, what string) {
	f := c.Flags()
	f.StringVar(&o.id, "record", "", "record the check for the "+what+" with this id, in the service that runs on this computer")
	configFlag(f, &o.config)
	f.StringVar(&o.tokenFile, "token-file", "", "with --record: a file with an access token that has the right configure; needed once a PIN is set")
	f.StringVar(&o.note, "note", "", "with --record: anything worth keeping, such as the number of a certificate")
}

// recorded asks the service to record a check, and returns the instrument as it is then, with what the
// service answered.
func (o recordOptions) recorded(ctx context.Context, path string, check any) (is view.Sensor, answer []byte, err error) {
	shop, err := readShop(o.config)
	if err != nil {
		return is, nil, err
	}
	body, err := json.Marshal(check)
	if err != nil {
		return is, nil, err
	}
	address := serviceAddress(shop)
	to := address + "/api/v1/" + strings.Replace(path, "{id}", url.PathEscape(o.id), 1)
	post, err := http.NewRequestWithContext(ctx, http.MethodPost, to, bytes.NewReader(body))
	if err != nil {
		return is, nil, err
	}
	post.Header.Set("Content-Type", "application/json")
	if o.tokenFile != "" {
		secret, err := os.ReadFile(o.tokenFile)
		if err != nil {
			return is, nil, usage("verify: --token-file: %w", err)
		}
		post.Header.Set("Authorization", "Bearer "+strings.TrimSpace(string(secret)))
	}
	response, err := (&http.Client{Timeout: 20 * time.Second}).Do(post)
	var failed *url.Error
	if errors.As(err, &failed) {
		return is, nil, fmt.Errorf("nothing was recorded: the service does not answer at %s: %w; start it with: systemctl start potlifed", address, failed.Err)
	}
	if err != nil {
		return is, nil, err
	}
	defer response.Body.Close()
	if answer, err = io.ReadAll(io.LimitReader(response.Body, mostOfAnAnswer)); err != nil {
		return is, nil, fmt.Errorf("the answer of %s is cut off, and the check may have been recorded: look at /devices: %w", address, err)
	}
	if response.StatusCode >= 300 {
		return is, nil, fmt.Errorf("nothing was recorded: %s", refusal(response, answer))
	}
	if err = json.Unmarshal(answer, &is); err != nil {
		return is, nil, fmt.Errorf("the check was recorded, and the answer cannot be read: %w", err)
	}
	return is, answer, nil
}

// refusal returns what a problem says (RFC 9457).
func refusal(response *http.Response, answer []byte) string {
	var problem struct {
		Title, Detail string
		Errors        []struct{ Message, Location string }
	}
	if json.Unmarshal(answer, &problem) != nil || problem.Title+problem.Detail == "" {
		return response.Status
	}
	says := strings.Trim(problem.Title+": "+problem.Detail, ": ")
	for _, e := range problem.Errors {
		says += "; " + strings.Trim(e.Location+" "+e.Message, " ")
	}
	if response.StatusCode == http.StatusUnauthorized {
		says += "; name a file with the token after --token-file"
	}
	return says
}

// recordScale records a check of a scale. Division, capacity and class are those of the service where the
// flags do not say them.
func recordScale(c *cobra.Command, o verifyScaleOptions, to recordOptions, loads []verify.Load) error {
	if c.Flags().Changed("division-g") {
		return usage("verify scale: --division-g: with --record the division is that of the configuration; the verification interval is --interval-g")
	}
	check := request.VerifyScale{Class: o.class, WeightClass: o.weightClass, Note: to.note}
	if c.Flags().Changed("interval-g") {
		check.IntervalG = &o.intervalG
	}
	if c.Flags().Changed("capacity-g") {
		check.CapacityG = &o.capacityG
	}
	for _, l := range loads {
		check.Loads = append(check.Loads, request.ScaleLoad{WeightsG: l.WeightsG, ReadingsG: l.ReadingsG})
	}
	is, answer, err := to.recorded(c.Context(), "scales/{id}/verifications", check)
	if err != nil {
		return fmt.Errorf("verify scale: %w", err)
	}
	out := c.OutOrStdout()
	if is.ScaleCheck == nil {
		return fmt.Errorf("verify scale: the service answered without the check; look at /devices")
	}
	passed := is.ScaleCheck.Verdict != verify.Failed
	if o.json {
		_, err = out.Write(answer)
		return ended(err, "scale", passed)
	}
	if _, err := fmt.Fprintf(out, "%s, class %s\n\n%s\n", is.ID, is.ScaleCheck.Class, scaleTable(is.ScaleCheck.ScaleResult)); err != nil {
		return err
	}
	return ended(tellRecorded(out, is, is.ScaleCheck.At, string(is.ScaleCheck.By)), "scale", passed)
}

// tellRecorded says what was recorded, and when the next check is due.
func tellRecorded(out io.Writer, is view.Sensor, at time.Time, by string) error {
	due := ""
	if is.CheckDue != nil {
		due = "; the next check is due on " + is.CheckDue.Local().Format(time.DateOnly)
	}
	if by != "" {
		by = " by " + by
	}
	_, err := fmt.Fprintf(out, "Recorded for %s at %s%s%s. The page /devices prints the record.\n", is.ID, at.Local().Format("2006-01-02 15:04"), by, due)
	return err
}

// recordSensor records one point of a check of a sensor, which the service compares with its own
// reading.
func recordSensor(c *cobra.Command, o verifySensorOptions, to recordOptions) error {
	if len(o.salts)+len(o.meters) != 1 {
		return usage("verify sensor: with --record want one --salt or one --meter: the sensor can be at one place only")
	}
	if strings.Contains(strings.Join(append(o.salts, o.meters...), ""), "=") {
		return usage("verify sensor: with --record leave the reading out, as --salt sodium-chloride or --meter 48.2: the service has its own reading")
	}
	check := request.VerifySensor{Note: to.note, Override: o.override}
	if c.Flags().Changed("temperature") {
		check.TemperatureC = &o.celsius
	}
	if len(o.salts) == 1 {
		check.Salt = o.salts[0]
	} else {
		pct, err := figures(o.meters[0], " ")
		if err != nil || len(pct) != 1 {
			return usage("verify sensor: --meter %q: want what the meter reads in %%, as 48.2", o.meters[0])
		}
		check.HumidityPct, check.AccuracyPct = &pct[0], &o.meterPct
	}
	is, answer, err := to.recorded(c.Context(), "sensors/{id}/verifications", check)
	if err != nil {
		return fmt.Errorf("verify sensor: %w", err)
	}
	out := c.OutOrStdout()
	var rows []sensorPoint
	var last time.Time
	passed := true
	for _, p := range is.CheckPoints {
		name := p.Salt
		if name == "" {
			name = "meter"
		}
		rows = append(rows, sensorPoint{name, p.ReferencePct, p.ReadPct, p.OffPct, p.AllowedPct, p.Passed})
		passed = passed && p.Passed
		if p.At.After(last) {
			last = p.At
		}
	}
	if o.json {
		_, err = out.Write(answer)
		return ended(err, "sensor", passed)
	}
	text := sensorTable(rows) + "\n" + sensorVerdict(passed)
	if is.CheckFailed != "" {
		text += is.CheckFailed + "\n"
	}
	switch {
	case is.CorrectionOffered != nil:
		text += "A correction is offered on the page /devices; it takes effect when a person accepts it.\n"
	case !passed:
		text += "Check it again on another day, and replace it if it still fails.\n"
	}
	if _, err := fmt.Fprintln(out, text); err != nil {
		return err
	}
	return ended(tellRecorded(out, is, last, ""), "sensor", passed)
}
