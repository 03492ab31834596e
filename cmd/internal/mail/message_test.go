package mail_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/textproto"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"boundwalk/cmd/internal/mail"
)

// The smallest PNG: one white pixel.
var pixel, _ = base64.StdEncoding.DecodeString(
	"iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGP4DwABAQEAG7buVgAAAABJRU5ErkJggg==")

func full() mail.Message {
	msg := digest()
	msg.HTML = `<p>All as planned.</p><img src="cid:power@ternquay.example" alt="Power of the week">`
	msg.Inline = []mail.Picture{{CID: "power@ternquay.example", PNG: pixel, Alt: "Power of the week"}}
	msg.Confidential = true
	return msg
}

// leaf is a part without parts.
type leaf struct {
	header textproto.MIMEHeader
	body   string
}

// leaves takes a body apart, as deep as it goes. The order is that of the mail.
func leaves(t testing.TB, header textproto.MIMEHeader, body io.Reader) []leaf {
	t.Helper()
	kind, params, err := mime.ParseMediaType(header.Get("Content-Type"))
	if err != nil {
		t.Fatalf("content type %q: %v", header.Get("Content-Type"), err)
	}
	if !strings.HasPrefix(kind, "multipart/") {
		switch header.Get("Content-Transfer-Encoding") {
		case "quoted-printable":
			body = quotedprintable.NewReader(body)
		case "base64":
			body = base64.NewDecoder(base64.StdEncoding, body)
		default:
			t.Fatalf("encoding %q", header.Get("Content-Transfer-Encoding"))
		}
		data, err := io.ReadAll(body)
		if err != nil {
			t.Fatal(err)
		}
		return []leaf{{header, string(data)}}
	}
	var all []leaf
	for parts := multipart.NewReader(body, params["boundary"]); ; {
		part, err := parts.NextRawPart()
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, leaves(t, part.Header, part)...)
	}
}

func build(t testing.TB, msg mail.Message) []byte {
	t.Helper()
	raw, err := mail.Build(msg)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// UPDATE=1 go test rewrites the golden mails.
func TestBuildGolden(t *testing.T) {
	plain := digest()
	odd := full()
	odd.To = []string{`"Harbour, Office" <a@ternquay.example>`, "Séamus <b@ternquay.example>"}
	odd.Subject = "Tern Quay, week 2026-W21: 2 urgent — slip-cam «gone»"
	odd.Text = "Sléibhte at 5 °C\n.\nFrom the quay\n" + strings.Repeat("long line ", 200)
	for name, msg := range map[string]mail.Message{"plain": plain, "full": full(), "odd": odd} {
		t.Run(name, func(t *testing.T) {
			got := build(t, msg)
			parse(t, got)
			if again := build(t, msg); !bytes.Equal(got, again) {
				t.Error("the second time it is built otherwise")
			}
			file := filepath.Join("testdata", name+".eml")
			if os.Getenv("UPDATE") != "" {
				if err := os.WriteFile(file, got, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(got, want) {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
		})
	}
}

func TestBuildParts(t *testing.T) {
	msg := full()
	parsed := parse(t, build(t, msg))
	for key, want := range map[string]string{
		"From": `"Tern Quay" <watch@ternquay.example>`, "To": "<owner@ternquay.example>", "Subject": msg.Subject,
		"Message-Id": "<" + msg.MessageID + ">", "Date": "Mon, 18 May 2026 08:00:00 +0100",
		"Sensitivity": "Company-Confidential", "Auto-Submitted": "auto-generated", "Mime-Version": "1.0",
	} {
		if got := parsed.Header[key]; !slices.Equal(got, []string{want}) {
			t.Errorf("%s: got %q, want %q", key, got, want)
		}
	}
	parts := leaves(t, textproto.MIMEHeader(parsed.Header), parsed.Body)
	if len(parts) != 3 {
		t.Fatalf("%d parts", len(parts))
	}
	if parts[0].body != "All as planned.\r\n" || parts[1].body != msg.HTML || parts[2].body != string(pixel) {
		t.Errorf("bodies %q, %q, %d bytes", parts[0].body, parts[1].body, len(parts[2].body))
	}
	for i, want := range []string{"text/plain; charset=UTF-8", "text/html; charset=UTF-8", `image/png; name="power@ternquay.example.png"`} {
		if got := parts[i].header.Get("Content-Type"); got != want {
			t.Errorf("part %d: %q, want %q", i, got, want)
		}
	}
	if got := parts[2].header; got.Get("Content-Id") != "<power@ternquay.example>" ||
		got.Get("Content-Description") != "Power of the week" || !strings.HasPrefix(got.Get("Content-Disposition"), "inline") {
		t.Errorf("picture %v", got)
	}
}

// Names as hostile as FC-28 and the charter of the service want them.
func TestBuildHostileText(t *testing.T) {
	for name, hostile := range map[string]string{
		"header":                "x\r\nBcc: thief@example.net\r\n\r\nbody",
		"bare line feed":        "x\nBcc: thief@example.net",
		"bare carriage return":  "x\rBcc: thief@example.net",
		"line separator":        "x\u2028Bcc: thief@example.net\u0085y",
		"right to left":         "cam\u202egnp.exe\u2066",
		"HTML":                  `"><script>alert(1)</script>`,
		"bytes BE D2":           strings.Repeat("n", 2000) + "\xbe\xd2",
		"10,000 characters":     strings.Repeat("W", 10_000),
		"10,000 four-byte ones": strings.Repeat("🛶", 10_000),
		"NUL and escape":        "\x00\x1b[31m\x7f",
		"encoded word":          "=?utf-8?q?x=0D=0ABcc:_thief?=",
		"boundary":              "--part-0-00\r\n\r\nboundary=" + strings.Repeat("0", 60) + "\r\n--part-0-00--",
		"lone dots":             "\r\n.\r\nMAIL FROM:<thief@example.net>\r\n..\r\n",
		"only blanks":           " \t \u00a0 ",
	} {
		t.Run(name, func(t *testing.T) { checkHostile(t, hostile) })
	}
}

// checkHostile puts s into each text of a mail and looks at what a receiver
// makes of it.
func checkHostile(t testing.TB, s string) {
	t.Helper()
	msg := full()
	msg.Subject, msg.Text, msg.HTML = s, "name: "+s, "<p>"+s
	msg.Inline[0].Alt = s
	plain := parse(t, build(t, full()))
	parsed := parse(t, build(t, msg))
	for key, values := range parsed.Header {
		if len(plain.Header[key]) != len(values) {
			t.Errorf("header %q appeared", key)
		}
	}
	if len(parsed.Header) != len(plain.Header) {
		t.Errorf("%d headers, want %d", len(parsed.Header), len(plain.Header))
	}
	for _, key := range []string{"From", "To", "Message-Id", "Date"} {
		if parsed.Header.Get(key) != plain.Header.Get(key) {
			t.Errorf("%s became %q", key, parsed.Header.Get(key))
		}
	}
	words := mime.WordDecoder{}
	subject, err := words.DecodeHeader(parsed.Header.Get("Subject"))
	if err != nil || utf8.RuneCountInString(subject) > 200 || strings.ContainsAny(subject, "\r\n\x00\u202e\u2066\u2028") {
		t.Errorf("subject %.300q, %v", subject, err)
	}
	parts := leaves(t, textproto.MIMEHeader(parsed.Header), parsed.Body)
	if len(parts) != 3 {
		t.Fatalf("%d parts", len(parts))
	}
	if !strings.HasPrefix(parts[0].body, "name: ") || !strings.HasPrefix(parts[1].body, "<p>") || parts[2].body != string(pixel) {
		t.Error("the parts are not in their places")
	}
	for _, part := range parts[:2] {
		if !utf8.ValidString(part.body) || strings.ContainsAny(part.body, "\x00\x1b") {
			t.Errorf("body %.200q", part.body)
		}
	}
	if clean := "name: " + s; utf8.ValidString(s) && !strings.ContainsFunc(s,
		func(r rune) bool { return r < ' ' || r >= 0x7f && r < 0xa0 }) && parts[0].body != clean {
		t.Errorf("body %.200q, want %.200q", parts[0].body, clean)
	}
}

func FuzzBuild(f *testing.F) {
	for _, seed := range []string{"", "a\r\nb: c", "\xbe\xd2", "=?utf-8?b?eA==?=", "boundary=", "\u202e", strings.Repeat("é", 1000),
		"--x\r\n.", "=\r\n=3D", " \n "} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, s string) { checkHostile(t, s) })
}

func TestBuildRefuses(t *testing.T) {
	for name, test := range map[string]struct {
		spoil func(*mail.Message)
		want  string
	}{
		"no sender":              {func(m *mail.Message) { m.From = "" }, "sender"},
		"two senders":            {func(m *mail.Message) { m.From = "a@b.example, c@d.example" }, "sender"},
		"sender with a header":   {func(m *mail.Message) { m.From = "a@b.example>\r\nBcc: <c@d.example" }, "sender"},
		"no receiver":            {func(m *mail.Message) { m.To = nil }, "receiver"},
		"receiver with a break":  {func(m *mail.Message) { m.To = []string{"a@b.example\r\nRCPT TO:<c@d.example>"} }, "receiver"},
		"receiver not ASCII":     {func(m *mail.Message) { m.To = []string{"séamus@ternquay.example"} }, "ASCII"},
		"receiver far too long":  {func(m *mail.Message) { m.To = []string{strings.Repeat("a", 300) + "@b.example"} }, "254"},
		"no text":                {func(m *mail.Message) { m.Text = "" }, "text part"},
		"no date":                {func(m *mail.Message) { m.Date = time.Time{} }, "date"},
		"no message ID":          {func(m *mail.Message) { m.MessageID = "" }, "message ID"},
		"message ID with breaks": {func(m *mail.Message) { m.MessageID = "a@b\r\nBcc: c" }, "message ID"},
		"message ID too long":    {func(m *mail.Message) { m.MessageID = strings.Repeat("a", 300) + "@" + strings.Repeat("b", 100) }, "message ID"},
		"message ID, no domain":  {func(m *mail.Message) { m.MessageID = "a" }, "message ID"},
		"picture without HTML":   {func(m *mail.Message) { m.HTML = "" }, "HTML"},
		"CID with a break":       {func(m *mail.Message) { m.Inline[0].CID = "a\r\nb" }, "CID"},
		"not a PNG":              {func(m *mail.Message) { m.Inline[0].PNG = []byte("GIF89a") }, "not a PNG"},
	} {
		t.Run(name, func(t *testing.T) {
			msg := full()
			test.spoil(&msg)
			if _, err := mail.Build(msg); err == nil || !strings.Contains(err.Error(), test.want) {
				t.Fatalf("got %v, want an error with %q", err, test.want)
			}
		})
	}
}

func TestMessageID(t *testing.T) {
	id := mail.MessageID("Tern Quay", "digest", "2026-W21", "Tern Quay <watch@ternquay.example>")
	if id != mail.MessageID("Tern Quay", "digest", "2026-W21", "watch@ternquay.example") || !strings.HasSuffix(id, "@ternquay.example") {
		t.Errorf("not stable: %s", id)
	}
	for _, other := range []string{
		mail.MessageID("Tern Quay", "digest", "2026-W22", "watch@ternquay.example"),
		mail.MessageID("Tern Quay", "urgent", "2026-W21", "watch@ternquay.example"),
		mail.MessageID("Tern Quayd", "igest", "2026-W21", "watch@ternquay.example"),
	} {
		if other == id {
			t.Errorf("%s for two mails", id)
		}
	}
	msg := digest()
	msg.MessageID = mail.MessageID("\xbe\xd2\r\n", "digest", "2026-W21", "no address")
	if parsed := parse(t, build(t, msg)); !strings.HasSuffix(parsed.Header.Get("Message-Id"), "@boundwalk.invalid>") {
		t.Errorf("got %q", parsed.Header.Get("Message-Id"))
	}
}

func TestSecretIsNeverPrinted(t *testing.T) {
	cfg := mail.Config{User: "watch", Password: "tide table"}
	encoded, err := json.Marshal(cfg.Password)
	if err != nil {
		t.Fatal(err)
	}
	var logged bytes.Buffer
	slog.New(slog.NewJSONHandler(&logged, nil)).Info("x", "cfg", cfg, "password", cfg.Password)
	all := fmt.Sprintf("%v %+v %#v %s %q %x %d %v", cfg, cfg, cfg, cfg.Password, cfg.Password, cfg.Password, cfg.Password, &cfg) +
		string(encoded) + logged.String()
	for _, leak := range []string{"tide table", fmt.Sprintf("%x", "tide table"), "116 105 100 101"} {
		if strings.Contains(all, leak) {
			t.Errorf("%q in %s", leak, all)
		}
	}
	if !strings.Contains(all, "(hidden)") {
		t.Error(all)
	}
}

func TestWarnings(t *testing.T) {
	good := mail.Config{User: "watch@ternquay.example", Hello: "watch.ternquay.example"}
	for name, test := range map[string]struct {
		cfg  mail.Config
		from string
		want []string // a part of each warning
	}{
		"good":                 {good, "Quay <watch@TernQuay.example>", nil},
		"from is the account":  {good, "", nil},
		"another domain":       {good, "watch@dock.example", []string{"the sender is at \"dock.example\" but the account at"}},
		"local sender":         {mail.Config{Hello: "[192.0.2.4]"}, "root@localhost", []string{"\"localhost\" has no dot"}},
		"account without a @":  {mail.Config{Hello: "a.b", User: "watch"}, "watch@ternquay.example", nil},
		"open":                 {mail.Config{Hello: "a.b", Security: mail.Plain}, "watch@ternquay.example", []string{"not encrypted"}},
		"greeting of one word": {mail.Config{Hello: "berth"}, "watch@ternquay.example", []string{"\"berth\" has no dot"}},
	} {
		t.Run(name, func(t *testing.T) {
			got := mail.Warnings(test.cfg, test.from)
			if len(got) != len(test.want) {
				t.Fatalf("got %q", got)
			}
			for i, want := range test.want {
				if !strings.Contains(got[i], want) {
					t.Errorf("got %q, want %q", got[i], want)
				}
			}
		})
	}
}
