package main

import (
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// progress shows on a terminal how far a run is; elsewhere it is silent.
type progress struct {
	mu    sync.Mutex
	bar   *progressbar.ProgressBar
	parts map[string][2]int
}

// afterwards a run shows its progress: quick ones need none.
const progressAfter = 500 * time.Millisecond

func (a *app) progress() *progress {
	f, ok := a.stderr.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) || os.Getenv("TERM") == "dumb" {
		return &progress{}
	}
	return &progress{parts: map[string][2]int{}, bar: progressbar.NewOptions(1, progressbar.OptionSetWriter(f), progressbar.OptionSetWidth(20),
		progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(progressAfter/5), progressbar.OptionSetPredictTime(true),
		progressbar.OptionUseANSICodes(true))}
}

// part is told by each part of a survey.
func (p *progress) part(name string, done, total int) {
	if p.bar == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.parts[name] = [2]int{min(done, total), total}
	var d, t int
	for _, x := range p.parts {
		d += x[0]
		t += x[1]
	}
	p.bar.ChangeMax(max(t, 1))
	p.bar.Describe(fmt.Sprintf("%-24.24s", name))
	_ = p.bar.Set(d) // a terminal that is gone needs no progress
}

func (p *progress) end() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
