package planfile

import (
	"fmt"
	"strings"
	"time"

	"github.com/invopop/jsonschema"
	"github.com/robfig/cron/v3"
	yaml "go.yaml.in/yaml/v4"

	"boundwalk/inventory"
)

var serviceKeys = table[inventory.Service]{
	what: "service",
	keys: []key[inventory.Service]{
		field("runs", cronTime, func(s *inventory.Service) *string { return &s.Runs },
			`When a whole run is made, as five cron fields; "*/15 * * * *" unless said.`),
		field("pulse", span, func(s *inventory.Service) *time.Duration { return &s.Pulse },
			"The time between two looks at power, uptime and reach; 1 min unless said."),
		field("digest", weekly, func(s *inventory.Service) *string { return &s.Digest },
			`When the weekly digest is due, as five cron fields; "0 8 * * MON" unless said.`),
		field("mail", mailCodec, func(s *inventory.Service) *inventory.Mail { return &s.Mail },
			"How the digest leaves; without it, no mail."),
		field("webhook", webhook, func(s *inventory.Service) *string { return &s.Webhook },
			"An https address that gets urgent findings as JSON."),
		field("metrics", loopback, func(s *inventory.Service) *string { return &s.Metrics },
			"A loopback address with a port for OpenMetrics, such as 127.0.0.1:9464."),
		field("page", loopback, func(s *inventory.Service) *string { return &s.Page },
			"A loopback address with a port for a page that a browser on this machine shows, such as 127.0.0.1:8480."),
		field("socket", path, func(s *inventory.Service) *string { return &s.Socket },
			"The control socket's full path."),
		field("group", text, func(s *inventory.Service) *string { return &s.Group },
			"The group whose members may ask the daemon for a run."),
		field("outside", hostPort, func(s *inventory.Service) *string { return &s.Outside },
			"A host and port outside the site, to know whether the internet line is up."),
		field("lookup", domain, func(s *inventory.Service) *string { return &s.Lookup },
			"A name to look up for the same purpose."),
	},
	advice: map[string]string{"smtp": "did you mean mail?", "to": "it stands under mail", "schedule": "did you mean runs?",
		"interval": "did you mean runs or pulse?"},
}

var mailKeys = table[inventory.Mail]{
	what: "mail",
	doc:  "How the digest leaves.",
	keys: []key[inventory.Mail]{
		field("to", oneOrMany(recipient), func(m *inventory.Mail) *[]inventory.Recipient { return &m.To },
			"Who gets the digest: addresses, or {address: …, short: true} for who wants only what needs a hand.").needed(),
		field("from", mailbox, func(m *inventory.Mail) *string { return &m.From },
			"The sender: the account's own address, for most servers.").needed(),
		field("server", server, func(m *inventory.Mail) *string { return &m.Server },
			"The mail server; its port is 587 for starttls, 465 for tls, 25 for plain, unless said.").needed(),
		field("security", words("security", "starttls", "tls", "plain"), func(m *inventory.Mail) *string { return &m.Security },
			"starttls (the default), tls, or plain."),
		field("user", text, func(m *inventory.Mail) *string { return &m.User }, "The account, where the server wants one."),
		field("password", secretRef, func(m *inventory.Mail) *inventory.SecretRef { return &m.Password },
			"Where the account's password lies, such as file:mail.secret."),
		field("hello", domain, func(m *inventory.Mail) *string { return &m.Hello },
			"The full name with which this machine greets the server."),
	},
}

// mailCodec fills in what a mail server needs beyond its name.
var mailCodec = func() codec[inventory.Mail] {
	c := mailKeys.codec(inventory.Mail{})
	read := c.read
	c.read = func(r *reader, n *yaml.Node) (inventory.Mail, bool) {
		m, ok := read(r, n)
		if !ok {
			return m, false
		}
		if m.Security == "" {
			m.Security = "starttls"
		}
		if _, err := parseHostPort(m.Server); err != nil {
			port := map[string]string{"starttls": "587", "tls": "465", "plain": "25"}[m.Security] // RFC 8314, RFC 6409, RFC 5321
			m.Server = joinPort(m.Server, port)
		}
		if (m.User == "") != (m.Password == "") {
			r.fault(n, "user and password go together: one of them is missing")
			return m, false
		}
		return m, true
	}
	return c
}()

// joinPort puts a port behind a host, which may be an IPv6 address.
func joinPort(host, port string) string {
	if strings.Contains(host, ":") {
		return "[" + host + "]:" + port
	}
	return host + ":" + port
}

// recipient is an address, or a mapping that says more.
var recipient = codec[inventory.Recipient]{
	read: func(r *reader, n *yaml.Node) (inventory.Recipient, bool) {
		if n.Kind == yaml.MappingNode {
			return recipientKeys.codec(inventory.Recipient{}).read(r, n)
		}
		a, ok := mailbox.read(r, n)
		return inventory.Recipient{Address: a}, ok
	},
	write: func(v inventory.Recipient) string {
		if v.Short {
			return recipientKeys.codec(inventory.Recipient{}).write(v)
		}
		return mailbox.write(v.Address)
	},
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{AnyOf: []*jsonschema.Schema{mailbox.schema(), recipientKeys.schema()}}
	},
}

var recipientKeys = table[inventory.Recipient]{
	what: "a recipient",
	keys: []key[inventory.Recipient]{
		field("address", mailbox, func(v *inventory.Recipient) *string { return &v.Address }, "The mail address.").needed(),
		field("short", flag, func(v *inventory.Recipient) *bool { return &v.Short }, "true: only what needs a hand."),
	},
}

var (
	cronTime = textual("a time in five cron fields", parseCron, doubleQuoted, `^\S+( +\S+){4}$`)
	weekly   = textual("a weekly time in five cron fields", parseWeekly, doubleQuoted, `^\S+( +\S+){4}$`)
	zone     = textual("a time zone", parseZone, func(l *time.Location) string { return plain(l.String()) }, `^[A-Za-z0-9_+/-]+$`)
)

var cronFields = cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow)

func parseCron(s string) (string, error) {
	if strings.Contains(s, "=") || strings.HasPrefix(strings.TrimSpace(s), "@") {
		return "", fmt.Errorf("%s is no cron time of the plan: write five fields (minute hour day month weekday); the zone is the site's", quoted(s))
	}
	sched, err := cronFields.Parse(s)
	if err != nil {
		return "", fmt.Errorf("%s is no cron time: write five fields (minute hour day month weekday), as in \"0 8 * * MON\": %w", quoted(s), err)
	}
	if sched.Next(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() { // the library looks five years ahead: a leap day is among them
		return "", fmt.Errorf("%s never comes: no such day is in the calendar", quoted(s))
	}
	return s, nil
}

// parseWeekly takes the cron times that come once a week.
func parseWeekly(s string) (string, error) {
	if _, err := parseCron(s); err != nil {
		return "", err
	}
	f := strings.Fields(s)
	any := func(field string) bool { return field == "*" || field == "?" }
	if strings.ContainsAny(f[0]+f[1]+f[4], "*?/,-") || !any(f[2]) || !any(f[3]) {
		return "", fmt.Errorf("%s does not come once a week: write one minute, one hour and one weekday, as in \"0 8 * * MON\"", quoted(s))
	}
	return s, nil
}

func parseZone(s string) (*time.Location, error) {
	if s == "" || s == "Local" {
		return nil, fmt.Errorf("%s is no time zone: write one such as Europe/Dublin", quoted(s))
	}
	l, err := time.LoadLocation(s)
	if err != nil {
		return nil, fmt.Errorf("%s is no time zone that this machine knows: write one such as Europe/Dublin", quoted(s))
	}
	return l, nil
}

// secretRef says where a secret lies. What stands there instead is never
// printed: it may be the secret.
var secretRef = codec[inventory.SecretRef]{
	read: func(r *reader, n *yaml.Node) (inventory.SecretRef, bool) {
		if n.Kind == yaml.ScalarNode && n.Tag == "!!str" {
			if kind, what, ok := strings.Cut(n.Value, ":"); ok && secretKinds[kind] != nil && secretKinds[kind](what) {
				return inventory.SecretRef(n.Value), true
			}
		}
		r.fault(n, "a secret does not stand in the plan: write where it lies, as file:NAME, env:NAME or credential:NAME")
		return "", false
	},
	write: func(s inventory.SecretRef) string {
		kind, what, _ := strings.Cut(string(s), ":")
		if plainForm.MatchString(what) {
			return kind + ":" + what
		}
		return doubleQuoted(string(s))
	},
	schema: func() *jsonschema.Schema {
		return &jsonschema.Schema{Type: "string", Pattern: `^(file|env|credential):.+$`, Examples: []any{"file:core.auth"}}
	},
}
