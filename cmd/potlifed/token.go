package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"potlifed/daemon/access"
	"potlifed/daemon/config"
	"potlifed/daemon/request"
)

func tokenCommand() *cobra.Command {
	var file, name string
	var may, lights []string
	var user bool
	c := &cobra.Command{
		Use:   "token --name NAME [--may RIGHTS] [--mqtt [--light LIGHT]…]",
		Short: "Make, list and revoke access tokens",
		Long: `token makes an access token for a program and prints its secret once: only a hash is
kept. The program sends it as "Authorization: Bearer SECRET". Each change that is made
with the token is recorded under its name. The rights are:

` + rightsInWords() + `
With --mqtt it makes a user of the built-in broker instead: the token's name is the user
name, the secret is the password. The user may read everything, and give the commands
that the rights allow; --may may be left out. With --light the user reads only that
light's topics, availability and daemon, and may confirm for that light.

The running service takes a new token, and refuses a revoked one, from the next request on.`,
		Example: `  potlifed token --name camera-1 --may report
  potlifed token --name line-2 --may mix,acknowledge
  potlifed token --name lamp-1 --mqtt --light light-1
  potlifed token list
  potlifed token revoke camera-1`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usage("token: %q is not understood; write list, or revoke NAME, see --help", args[0])
			}
			return nil
		},
		RunE: func(c *cobra.Command, _ []string) error {
			switch {
			case len(lights) > 0 && !user:
				return usage("token: --light works only with --mqtt")
			case name != "" && user:
				return makeUser(c, file, name, may, lights)
			case name == "" || len(may) == 0:
				return usage("token: give --name and --may, or --name and --mqtt; or write list, or revoke NAME")
			}
			return makeToken(c, file, name, may)
		},
	}
	configFlag(c.PersistentFlags(), &file)
	c.Flags().StringVar(&name, "name", "", "the token's name, as the journal will show it")
	c.Flags().StringSliceVar(&may, "may", nil, "the rights, with commas between them: "+rightNames())
	c.Flags().BoolVar(&user, "mqtt", false, "make a user of the built-in broker")
	c.Flags().StringSliceVar(&lights, "light", nil, "with --mqtt: restrict the user to this light; may be given several times")
	c.AddCommand(tokenListCommand(&file), tokenRevokeCommand(&file))
	return c
}

// rightMeanings say in the help what each right allows.
var rightMeanings = map[request.Right]string{
	request.RightReport:      "report how many prints a press has made",
	request.RightMix:         "every change at the bench and at the presses: mixes, batches, cans",
	request.RightAcknowledge: "acknowledge and shelve alarms",
	request.RightConfigure:   "accept learned parameters, record checks of sensors, take instruments out of service, unpair devices",
}

func rightsInWords() string {
	var text strings.Builder
	for _, right := range request.Rights() {
		fmt.Fprintf(&text, "  %-11s  %s\n", right, rightMeanings[right])
	}
	return text.String()
}

func rightNames() string {
	var names []string
	for _, right := range request.Rights() {
		names = append(names, string(right))
	}
	return strings.Join(names, ", ")
}

func makeToken(c *cobra.Command, file, name string, may []string) error {
	store, err := accessOf(file)
	if err != nil {
		return err
	}
	secret, err := store.NewToken(name, rightsOf(may), time.Now())
	if err != nil {
		return accessFault("token", err)
	}
	fmt.Fprintf(c.ErrOrStderr(), "%s may: %s. Its secret is shown this once:\n", name, strings.Join(may, ", "))
	_, err = fmt.Fprintln(c.OutOrStdout(), secret)
	return err
}

func rightsOf(words []string) []request.Right {
	var rights []request.Right
	for _, w := range words {
		rights = append(rights, request.Right(strings.TrimSpace(w)))
	}
	return rights
}

// makeUser makes a user of the built-in broker.
func makeUser(c *cobra.Command, file, name string, may, lights []string) error {
	shop, err := readShop(file)
	if err != nil {
		return err
	}
	for _, l := range lights {
		if !slices.ContainsFunc(shop.Lights, func(is config.Light) bool { return is.ID == l }) {
			return usage("token: the configuration has no light %q", l)
		}
	}
	store, err := accessOf(file)
	if err != nil {
		return err
	}
	secret, err := store.NewUser(name, rightsOf(may), lights, time.Now())
	if err != nil {
		return accessFault("token", err)
	}
	say := c.ErrOrStderr()
	fmt.Fprintf(say, "User %s of the built-in broker %s. The password is shown this once:\n", name, brokerAbilities(may, lights))
	if shop.Broker.Listen == "" {
		fmt.Fprintln(say, "(the configuration has no broker section: the built-in broker does not run)")
	}
	if len(may) > 0 && !shop.MQTT.Commands {
		fmt.Fprintln(say, "(mqtt.commands in the configuration is false: no command is obeyed)")
	}
	_, err = fmt.Fprintln(c.OutOrStdout(), secret)
	return err
}

func brokerAbilities(may, lights []string) string {
	can := "reads everything"
	if len(lights) > 0 {
		can = "reads " + strings.Join(lights, ", ")
	}
	if len(may) > 0 {
		can += ", may: " + strings.Join(may, ", ")
	}
	return can
}

func tokenListCommand(file *string) *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "list",
		Short: "List the tokens and their rights",
		Args:  noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			store, err := accessOf(*file)
			if err != nil {
				return err
			}
			tokens, err := store.Tokens()
			if err != nil {
				return accessFault("token", err)
			}
			return writeTokens(c, tokens, asJSON)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return c
}

func writeTokens(c *cobra.Command, tokens []access.Token, asJSON bool) error {
	type row struct {
		Name   string          `json:"name"`
		May    []request.Right `json:"may"`
		Made   time.Time       `json:"made"`
		MQTT   bool            `json:"mqtt,omitempty"`
		Lights []string        `json:"lights,omitempty"`
	}
	rows := make([]row, 0, len(tokens))
	for _, t := range tokens {
		rows = append(rows, row{t.Name, append([]request.Right{}, t.May...), t.Made, t.MQTT, t.Lights})
	}
	if asJSON {
		return json.NewEncoder(c.OutOrStdout()).Encode(map[string]any{"tokens": rows})
	}
	if len(rows) == 0 {
		_, err := fmt.Fprintln(c.OutOrStdout(), "there are no tokens")
		return err
	}
	table := tabwriter.NewWriter(c.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "name\tfor\tmay\tmade")
	for _, r := range rows {
		words := make([]string, 0, len(r.May))
		for _, m := range r.May {
			words = append(words, string(m))
		}
		use := "HTTP"
		if r.MQTT {
			use = strings.Join(append([]string{"MQTT"}, r.Lights...), " ")
		}
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\n", r.Name, use, strings.Join(words, ", "), r.Made.Local().Format("2006-01-02 15:04"))
	}
	return table.Flush()
}

func tokenRevokeCommand(file *string) *cobra.Command {
	return &cobra.Command{
		Use:   "revoke NAME",
		Short: "End a token at once",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usage("token revoke: name one token; potlifed token list shows them")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			store, err := accessOf(*file)
			if err != nil {
				return err
			}
			found, err := store.RevokeToken(args[0])
			if err != nil {
				return accessFault("token", err)
			}
			if !found {
				return fmt.Errorf("token revoke: there is no token %q; potlifed token list shows them", args[0])
			}
			_, err = fmt.Fprintf(c.OutOrStdout(), "%s is revoked\n", args[0])
			return err
		},
	}
}
