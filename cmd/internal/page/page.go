// Package page gathers what the logbook holds for the local page, and answers a
// browser on this machine with it.
package page

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"time"

	"boundwalk/cmd/internal/report"
	"boundwalk/diff"
	"boundwalk/inventory"
	"boundwalk/store"
)

const lastRuns = 10

// Read gathers the page of a site as of now.
func Read(ctx context.Context, book *store.Logbook, plan *inventory.Plan, now time.Time) (report.Site, error) {
	site := report.Site{Plan: plan}
	var err error
	if site.History, err = book.History(ctx, now, plan.Site.Location); err != nil {
		return site, err
	}
	if site.Past, err = book.Devices(ctx); err != nil {
		return site, err
	}
	if site.Runs, err = book.Runs(ctx, lastRuns); err != nil {
		return site, err
	}
	eps, err := book.Episodes(ctx, time.Time{})
	if err != nil {
		return site, err
	}
	for _, e := range eps {
		if !site.History.Open[e.Finding.Key].HushedUntil.IsZero() {
			site.Hushed++
			continue
		}
		site.Findings = append(site.Findings, e.Finding)
	}
	diff.Sort(site.Findings)
	return site, nil
}

// Handler shows at / what read gathers. It offers nothing else, and nothing on the
// page can do anything.
func Handler(read func(context.Context) (report.Site, error), log *slog.Logger) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) {
		site, err := read(r.Context())
		var page bytes.Buffer
		if err == nil {
			err = report.LocalPage(&page, site)
		}
		if err != nil {
			log.Warn("page", "err", err)
			http.Error(w, "the logbook could not be read", http.StatusInternalServerError)
			return
		}
		h := w.Header()
		h.Set("Content-Type", "text/html; charset=utf-8")
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		w.Write(page.Bytes())
	})
	return mux
}
