package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"boundwalk/inventory/planfile"
)

// onWords calls once what is to happen when the words have been written.
type onWords struct {
	mu    sync.Mutex
	buf   bytes.Buffer
	words string
	do    func()
}

func (o *onWords) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.buf.Write(p)
	if o.do != nil && strings.Contains(o.buf.String(), o.words) {
		o.do()
		o.do = nil
	}
	return len(p), nil
}

// While it watches, someone plugs a stranger into the shed and a camera of the
// plan into another port: both are proved, and the stranger is taken in.
func TestCommissionTwoAtOnce(t *testing.T) {
	s := startYard(t)
	if err := s.Lose(); err != nil {
		t.Fatal(err)
	}
	page := filepath.Join(s.dir, "record.html")
	told := &onWords{words: "plug it in now", do: func() {
		if err := s.Drift(); err != nil {
			t.Error(err)
		}
	}}
	var out bytes.Buffer
	args := []string{"commission", "--plan", s.plan, "--every", "20ms", "--wait", "1m", "--settle", "5s", "--json", "--write", "--out", page}
	if code := run(t.Context(), args, strings.NewReader(""), &out, told); code != exitFindings {
		t.Fatalf("exit %d\n%s\n%s", code, told.buf.String(), out.String())
	}
	type record struct {
		Device, Where string
		Planned       bool
		Steps         []struct{ What, State, Found string }
		Entry         string
	}
	var records []record
	if err := json.Unmarshal(out.Bytes(), &records); err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	step := func(device, what string) string {
		for _, r := range records {
			for _, x := range r.Steps {
				if r.Device == device && x.What == what {
					return x.State
				}
			}
		}
		return ""
	}
	if step("gate-cam", "port") != "fail" || step("gate-cam", "address") != "pass" {
		t.Errorf("gate-cam: %+v", records)
	}
	i := slices.IndexFunc(records, func(r record) bool { return !r.Planned })
	if i < 0 || records[i].Where != "shed-switch/8" || !strings.Contains(records[i].Entry, "at: shed-switch/8") || step(records[i].Device, "class") != "pass" {
		t.Fatalf("the stranger: %+v", records)
	}
	f, err := planfile.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	last := f.Plan.Devices[len(f.Plan.Devices)-1]
	if last.At.String() != "shed-switch/8" || last.MACs[0].String() != "00:00:5e:00:53:66" {
		t.Errorf("taken in: %+v", last)
	}
	if b, err := os.ReadFile(page); err != nil || !bytes.Contains(b, []byte("quay-switch/7, planned quay-switch/6")) {
		t.Errorf("the page: %v", err)
	}
}

// A device that is there is proved at once; a name that the plan lacks is wrong use.
func TestCommissionNamed(t *testing.T) {
	s := startYard(t)
	out, _ := do(t, []int{exitFindings}, "commission", "slip-cam", "--plan", s.plan) // its agent answers to the usual community
	for _, want := range []string{"port: quay-switch/5, as planned", "class: class 3", "recording time", "supply quay-switch", "unknown factory login",
		"fail    usual community", "Kept with run 1 of the logbook."} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in:\n%s", want, out)
		}
	}
	_, told := do(t, []int{exitUsage}, "commission", "nobody", "--plan", s.plan)
	if !strings.Contains(told, "no device") {
		t.Errorf("%s", told)
	}
}

// A planned device whose MAC address nobody knew gets it.
func TestCommissionFillsMAC(t *testing.T) {
	s := startYard(t)
	text, err := os.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte(`mac: "00:00:5e:00:53:32", `), nil, 1)
	if err := os.WriteFile(s.plan, text, 0o600); err != nil {
		t.Fatal(err)
	}
	do(t, []int{exitDone}, "commission", "gate-cam", "--plan", s.plan, "--write")
	f, err := planfile.ReadFile(s.plan)
	if err != nil {
		t.Fatal(err)
	}
	if d, _ := f.Plan.Device("gate-cam"); len(d.MACs) != 1 || d.MACs[0].String() != "00:00:5e:00:53:32" {
		t.Errorf("%+v", d.MACs)
	}
}
