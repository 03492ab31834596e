package planfile_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"boundwalk/inventory/planfile"
)

func FuzzParse(f *testing.F) {
	f.Add(example(f))
	full, err := os.ReadFile("testdata/full.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(full)
	f.Add([]byte(frame("  a: &x {<<: *x, at: hub/1, via: [hub]}\n")))
	f.Add([]byte("site: {name: x}\nnetworks: {a: {subnet: 127.0.0.0/8}}\ndevices: {a: {at: a}}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := planfile.Parse("plan.yaml", b)
		if (p == nil) == (err == nil) {
			t.Fatalf("plan %v beside error %v", p != nil, err)
		}
		if err == nil {
			if _, err := planfile.Render(p.Plan); err != nil {
				t.Errorf("a plan that was read cannot be written: %v", err)
			}
			return
		}
		problems, ok := errors.AsType[planfile.Problems](err)
		if !ok || len(problems) == 0 || problems.Error() == "" {
			t.Fatalf("a %T without words", err)
		}
	})
}

// manyDevices is a plan with n cameras on n/24 switches.
func manyDevices(n int) []byte {
	var b bytes.Buffer
	b.WriteString(`site: {name: Large}
networks: {all: {subnet: 10.0.0.0/8}}
models: {dome: {role: camera, class: 3, draws: {usual: 5 W, most: 11 W}, stream: 4 Mbit/s}}
devices:
`)
	for i := range n {
		if i%24 == 0 {
			fmt.Fprintf(&b, "  switch-%d: {role: switch, ports: 24, feeds: 802.3at, budget: 370 W}\n", i/24)
		}
		fmt.Fprintf(&b, "  cam-%d: {model: dome, mac: \"02:00:5e:00:%02x:%02x\", address: 10.0.%d.%d, at: switch-%d/%d, cable: {length: 40 m}}\n",
			i, i>>8, i&255, i>>8, i&255, i/24, i%24+1)
	}
	return b.Bytes()
}

func TestManyDevices(t *testing.T) {
	f, err := planfile.Parse("plan.yaml", manyDevices(5000))
	if err != nil {
		t.Fatal(err)
	}
	if got := len(f.Plan.Devices); got != 5000+209 {
		t.Errorf("%d devices", got)
	}
}

// The same plan with an unknown place in each line.
func TestManyProblems(t *testing.T) {
	_, err := planfile.Parse("plan.yaml", bytes.ReplaceAll(manyDevices(5000), []byte("at: switch"), []byte("at: swtich")))
	problems, _ := errors.AsType[planfile.Problems](err)
	if len(problems) != 1001 || !strings.Contains(problems[0].What, "did you mean switch-0?") || problems[1000].What != "and 4000 more problems" {
		t.Errorf("%d problems, the last %q", len(problems), problems[len(problems)-1].What)
	}
}

func BenchmarkParse(b *testing.B) {
	for _, n := range []int{500, 5000} {
		text := manyDevices(n)
		b.Run(fmt.Sprintf("devices=%d", n), func(b *testing.B) {
			b.SetBytes(int64(len(text)))
			b.ReportAllocs()
			for b.Loop() {
				if _, err := planfile.Parse("plan.yaml", text); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
