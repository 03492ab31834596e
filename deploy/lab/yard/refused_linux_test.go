package yard

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/deploy/lab/netns"
	"boundwalk/deploy/lab/program"

	"golang.org/x/sys/unix"
)

const quietPlan = "site: {name: Tern Quay, timezone: Europe/Dublin}\nnetworks:\n  yard: {subnet: 127.0.0.0/29}\n" +
	"sources: {mdns: false, ws_discovery: false, reverse_dns: false}\ndevices:\n  cam: {role: camera, mac: \"00:00:5e:00:53:31\"}\n"

// refused: the program ends with the code, says all the words, and nothing else
// on standard output.
func refused(t *testing.T, s *program.Site, want int, words []string, args ...string) {
	t.Helper()
	out, told, code := s.Output(args...)
	if code != want || out != "" {
		t.Errorf("%v ended with %d, want %d; output %q, words %q", args, code, want, out, told)
	}
	for _, w := range append(words, "boundwalk: ") {
		if !strings.Contains(told, w) {
			t.Errorf("%v says %q, want %q in it", args, told, w)
		}
	}
}

// A plan that is none costs no logbook.
func TestPlansThatAreNone(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ plan, words string }{
		"empty":        {"", "the plan is empty"},
		"half written": {quietPlan[:strings.Index(quietPlan, "sources")], `needs the key "devices"`},
		"cut in a key": {quietPlan[:strings.Index(quietPlan, "role")], "plan.yaml:"},
		"of 10 MB":     {strings.Repeat("# a line of the plan that says nothing\n", 10<<20/39), "1 MiB"},
	} {
		t.Run(name, func(t *testing.T) {
			s := program.NewSite(t, nil)
			s.Write("plan.yaml", c.plan)
			refused(t, s, 2, []string{"plan.yaml", c.words}, "run")
			refused(t, s, 2, []string{"plan.yaml", c.words}, "check")
			if _, err := os.Stat(filepath.Join(s.Dir, "logbook.db")); !errors.Is(err, os.ErrNotExist) {
				t.Errorf("it left a logbook: %v", err)
			}
		})
	}
}

// A logbook that is no database stays as it is; on a full disk a run is refused
// until there is room; one that this user may not write is said to be that.
func TestLogbooksThatCannotBe(t *testing.T) {
	t.Parallel()
	s := program.NewSite(t, nil)
	s.Write("plan.yaml", quietPlan)
	text := strings.Repeat("site: {name: Tern Quay}\n", 400)
	other := s.Write("other.db", text)
	refused(t, s, 1, []string{other, "not a logbook"}, "run", "--logbook", other)
	if got, _ := os.ReadFile(other); string(got) != text {
		t.Error("the other file was changed")
	}

	disk := smallDisk(t)
	book := filepath.Join(disk, "logbook.db")
	full := []string{book, "the disk is full"}
	fill(t, disk)
	refused(t, s, 1, full, "run", "--logbook", book)
	room(t, disk)
	if _, words, code := s.Output("run", "--logbook", book); code != 0 {
		t.Fatalf("with room the run ended with %d: %s", code, words)
	}
	fill(t, disk)
	refused(t, s, 1, full, "run", "--logbook", book)
	room(t, disk)
	if _, words, code := s.Output("run", "--logbook", book); code != 0 {
		t.Errorf("with room again the run ended with %d: %s", code, words)
	}

	open(t, disk)
	for name, mode := range map[string]os.FileMode{disk: 0o755, book: 0o644} {
		if err := os.Chmod(name, mode); err != nil {
			t.Fatal(err)
		}
	}
	plan := filepath.Join(disk, "plan.yaml")
	if err := os.WriteFile(plan, []byte(quietPlan), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := asOther(program.Built(t), "run", "--plan", plan, "--logbook", book).CombinedOutput()
	if exit, ok := errors.AsType[*exec.ExitError](err); !ok || exit.ExitCode() != 1 || !strings.Contains(string(out), book+": this user may not write it") {
		t.Errorf("another user's run: %v, %s", err, out)
	}
}

// smallDisk is a file system of 1 MiB.
func smallDisk(t *testing.T) string {
	t.Helper()
	netns.New(t) // skips without root, and fails so in CI
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=1m"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, unix.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fill takes all room that a disk has left.
func fill(t *testing.T, disk string) {
	t.Helper()
	f, err := os.Create(filepath.Join(disk, "fill"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for n := 1 << 20; n > 0; {
		if _, err := f.Write(make([]byte, n)); err != nil {
			n /= 2
		}
	}
}

func room(t *testing.T, disk string) {
	t.Helper()
	if err := os.Remove(filepath.Join(disk, "fill")); err != nil {
		t.Fatal(err)
	}
}

// open lets every user into a folder of the test's.
func open(t *testing.T, dir string) {
	t.Helper()
	for ; dir != filepath.Clean(os.TempDir()) && dir != "/"; dir = filepath.Dir(dir) {
		if err := os.Chmod(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
}

// asOther prepares a command of a user without any rights.
func asOther(args ...string) *exec.Cmd {
	return exec.Command("setpriv", append([]string{"--reuid=65534", "--regid=65534", "--clear-groups", "--bounding-set=-all"}, args...)...)
}

// Without the right to open raw sockets a run does what it can, and says what it
// could not. Where the interface has no address it looks at nothing: it does not
// say that all is as planned, and ends with 4.
func TestWithoutRightsAndWithoutAddress(t *testing.T) {
	y := newYard(t, 11)
	y.planWith("", "", 11)
	open(t, y.Dir)
	for _, step := range []error{os.Chmod(y.Dir, 0o777), os.Chmod(filepath.Join(y.Dir, "plan.yaml"), 0o644)} {
		if step != nil {
			t.Fatal(step)
		}
	}
	cmd := asOther(program.Built(t), "run", "--plan", filepath.Join(y.Dir, "plan.yaml"), "--logbook", filepath.Join(y.Dir, "other.db"))
	cmd.Args = append([]string{"ip", "netns", "exec", y.In.Name}, cmd.Args...)
	cmd = exec.Command(cmd.Args[0], cmd.Args[1:]...)
	out, err := cmd.CombinedOutput()
	if err != nil || !strings.Contains(string(out), "without the right to open a raw socket") || !strings.Contains(string(out), "3 of 3 planned devices are there") {
		t.Errorf("without rights: %v\n%s", err, out)
	}

	y.In.Exec("ip", "addr", "flush", "dev", "eth0")
	text, words, code := y.Output("run")
	if code != 4 || words != "" {
		t.Errorf("without an address it ended with %d: %s", code, words)
	}
	for _, want := range []string{"3 planned devices could not be looked for: yard-switch, server, host-11", "this machine is not attached to it"} {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "All as planned") || strings.Contains(text, "missing") {
		t.Errorf("it judges what it did not see:\n%s", text)
	}
}
