package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// bashCompletion is the package's script, which ours stands on.
const bashCompletion = "/usr/share/bash-completion/bash_completion"

// complete has bash complete a line, as its TAB key does: it splits words at
// colons too, and hands them to the function of the command.
const complete = `
. ` + bashCompletion + `
. <(boundwalk completion bash)
compopt() { :; } # outside of readline there is nothing to set
COMP_LINE=$1 COMP_POINT=${#1} COMP_TYPE=9 COMP_KEY=9
read -ra COMP_WORDS <<<"${1//:/ : }"
[[ $1 == *' ' ]] && COMP_WORDS+=('')
COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
__start_boundwalk
printf '%s\n' "${COMPREPLY[@]}"
`

var completions = []struct {
	line string
	want []string // some of what is offered
	not  string   // what is not
}{
	{"accept mo", []string{"moved-device/gate-cam"}, "replaced-device/hoist-cam"},
	{"accept ", []string{"replaced-device/hoist-cam", "wrong-vlan/shed-switch/6"}, "clock-off/recorder"},
	{"accept moved-device/gate-cam ", []string{"replaced-device/hoist-cam"}, "moved-device/gate-cam"},
	{"accept unknown-device/00:00", []string{"00:5e:00:53:66"}, "moved-device/gate-cam"}, // bash has the part before the colon
	{"hush clock", []string{"clock-off/recorder"}, "moved-device/gate-cam"},
	{"hush clock-off/recorder ", []string{"2h", "2w"}, "moved-device/gate-cam"},
	{"hush --all ", []string{"2h", "2w"}, "moved-device/gate-cam"},
	{"hush --end ", []string{"clock-off/recorder"}, "moved-device/gate-cam"},
	{"show ports --switch q", []string{"quay-router", "quay-switch"}, "quay-radio"},
	{"show device sh", []string{"shed-switch", "shed-cam"}, "slip-cam"},
	{"show device 00:", []string{"00:5e:00:53:66"}, "slip-cam"},
	{"commission sl", []string{"slip-cam"}, "gate-cam"},
	{"check --add camera,class3,quay-switch/", []string{"camera,class3,quay-switch/10,"}, "camera,class3,quay-switch/1,"},
	{"run --fail-on w", []string{"warning"}, "note"},
	{"sheet --part c", []string{"cables", "cautions"}, "ports"},
	{"sho", []string{"show"}, "sheet"},
}

// A shell offers keys, devices and ports, by bash itself.
func TestCompletion(t *testing.T) {
	if _, err := os.Stat(bashCompletion); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skipf("without the package bash-completion: %v", err)
	}
	s := startYard(t)
	s.drift(t)
	do(t, []int{exitDone}, "hush", "clock-off/recorder", "2w", "--plan", s.plan)
	bin := t.TempDir()
	me, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(me, filepath.Join(bin, "boundwalk")); err != nil { // by that name this is the program: see TestMain
		t.Fatal(err)
	}
	for _, c := range completions {
		cmd := exec.CommandContext(t.Context(), "bash", "--norc", "-c", complete, "bash", "boundwalk "+c.line)
		cmd.Dir = bin // where no file is but the program
		cmd.Env = append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"), "BOUNDWALK_PLAN="+s.plan)
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Errorf("%q: %v\n%s", c.line, err, out)
			continue
		}
		got := strings.Split(strings.TrimSuffix(string(out), "\n"), "\n")
		for i := range got {
			got[i] = strings.TrimRight(got[i], " ")
		}
		for _, w := range c.want {
			if !slices.Contains(got, w) {
				t.Errorf("%q does not offer %q:\n%s", c.line, w, out)
			}
		}
		if slices.Contains(got, c.not) {
			t.Errorf("%q offers %q:\n%s", c.line, c.not, out)
		}
	}
}
