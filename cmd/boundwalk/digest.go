package main

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"boundwalk/cmd/internal/mail"
	"boundwalk/cmd/internal/post"
	"boundwalk/diff/digest"
	"boundwalk/inventory"

	"github.com/google/renameio/v2"
	"github.com/spf13/cobra"
)

func (a *app) digestCommand() *cobra.Command {
	d := digestOptions{app: a}
	c := &cobra.Command{
		Use:   "digest",
		Short: "Shows the weekly digest, writes it to a file, or mails it",
		Long: "Makes the digest of the last seven days from the logbook, without a run. It does not\n" +
			"count as the weekly one: that is the daemon's.",
		Args: noWords,
		RunE: func(c *cobra.Command, _ []string) error { return d.run(c.Context()) },
	}
	c.Flags().StringVar(&d.out, "out", "", "write it to this `file`: .html (pictures inside), .eml (the mail) or .txt")
	c.Flags().BoolVar(&d.send, "send", false, "mail it now to the readers that the plan names")
	c.Flags().BoolVar(&d.short, "short", false, "only what needs a hand")
	return c
}

type digestOptions struct {
	*app
	out   string
	send  bool
	short bool
}

func (d *digestOptions) run(ctx context.Context) error {
	if d.out != "" && d.send {
		return &exitError{exitUsage, errors.New("digest: --out and --send do not go together")}
	}
	kind := strings.ToLower(filepath.Ext(d.out))
	if d.out != "" && kind != ".html" && kind != ".eml" && kind != ".txt" {
		return &exitError{exitUsage, fmt.Errorf("digest: --out %s: the name ends in .html, .eml or .txt", d.out)}
	}
	now := time.Now()
	in, err := d.gather(ctx, now)
	if err != nil {
		return err
	}
	if d.send {
		return d.mailTo(ctx, in)
	}
	made, err := digest.Build(in)
	if err != nil {
		return err
	}
	switch kind {
	case ".html":
		return renameio.WriteFile(d.out, []byte(alone(made)), 0o600)
	case ".txt":
		return renameio.WriteFile(d.out, []byte("Subject: "+made.Subject+"\n\n"+made.Text), 0o600)
	case ".eml":
		raw, err := d.raw(in, made)
		if err != nil {
			return err
		}
		return renameio.WriteFile(d.out, raw, 0o600)
	}
	if d.json {
		e := json.NewEncoder(d.stdout)
		e.SetIndent("", "  ")
		return e.Encode(struct {
			Subject      string `json:"subject"`
			Text         string `json:"text"`
			Confidential bool   `json:"confidential"`
		}{made.Subject, made.Text, made.Confidential})
	}
	_, err = fmt.Fprint(d.stdout, made.Text)
	return err
}

// gather reads what the digest is made of.
func (d *digestOptions) gather(ctx context.Context, now time.Time) (digest.In, error) {
	book, plan, err := d.openReader(ctx)
	if err != nil {
		return digest.In{}, err
	}
	defer book.Close()
	in, err := post.Gather(ctx, book, plan, now, post.Options{Short: d.short})
	if err == nil && in.Snapshot == nil {
		err = &hintError{errNoRun, `"boundwalk run" makes one`}
	}
	return in, err
}

// alone is the HTML with its pictures inside, for a browser.
func alone(d digest.Digest) string {
	html := d.HTML
	for _, p := range d.Pictures {
		html = strings.ReplaceAll(html, "cid:"+p.CID, "data:image/png;base64,"+base64.StdEncoding.EncodeToString(p.PNG))
	}
	return html
}

// raw is the mail as it would go to all full readers at once.
func (d *digestOptions) raw(in digest.In, made digest.Digest) ([]byte, error) {
	to := readers(in.Plan)
	if len(to) == 0 {
		to = []string{"nobody@boundwalk.invalid"} // RFC 2606
	}
	m := post.Message(in.Plan, made, to[0], askedID(in, to[0]), in.Now)
	m.To = to
	if m.From == "" {
		m.From = to[0]
	}
	return mail.Build(m)
}

func readers(plan *inventory.Plan) []string {
	var to []string
	for _, r := range plan.Service.Mail.To {
		to = append(to, r.Address)
	}
	return to
}

// askedID is the Message-ID of a digest that a person asked for: another than the weekly one's.
func askedID(in digest.In, to string) string {
	return mail.MessageID(in.Plan.Site.Name, "asked", in.Now.UTC().Format(time.RFC3339Nano)+"/"+to, in.Plan.Service.Mail.From)
}

// mailTo sends it to each reader and says what the server said.
func (d *digestOptions) mailTo(ctx context.Context, in digest.In) error {
	_, path, err := d.loadPlan()
	if err != nil {
		return err
	}
	cfg, err := post.Config(in.Plan, secrets(path))
	if err != nil {
		return err
	}
	if len(in.Plan.Service.Mail.To) == 0 {
		return errors.New("digest: the plan names no reader (service: mail: to:)")
	}
	var failed []error
	for _, to := range in.Plan.Service.Mail.To {
		in.Short = to.Short || d.short
		made, err := digest.Build(in)
		if err != nil {
			return err
		}
		receipt, err := mail.Send(ctx, cfg, post.Message(in.Plan, made, to.Address, askedID(in, to.Address), in.Now))
		if err != nil {
			failed = append(failed, fmt.Errorf("to %s: %w", to.Address, err))
			continue
		}
		fmt.Fprintf(d.stderr, "boundwalk: mailed to %s; %s said: %s\n", to.Address, receipt.Server, inventory.CleanTo(receipt.ServerWords, 200))
	}
	return errors.Join(failed...)
}
