package packages_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// A system is a Debian in a folder.
type system struct {
	t    *testing.T
	root string
}

// base is the smallest Debian 12 with systemd, made once for all tests.
var base = sync.OnceValues(func() (string, error) {
	root := filepath.Join(scratch, "debian")
	out, err := exec.Command("debootstrap", "--variant=minbase", "--include=systemd-sysv", "bookworm", root).CombinedOutput()
	for _, dir := range []string{"proc", "sys"} { // left over where debootstrap was stopped; else there is none
		exec.Command("umount", "-l", filepath.Join(root, dir)).Run() //nolint:errcheck // mostly there is nothing to do
	}
	if err != nil {
		return "", fmt.Errorf("debootstrap: %w\n%s", err, out)
	}
	return root, nil
})

// newSystem is a Debian of its own for t.
func newSystem(t *testing.T) system {
	t.Helper()
	from, err := base()
	if err != nil {
		t.Fatal(err)
	}
	s := system{t, filepath.Join(t.TempDir(), "debian")}
	output(t, "cp", "--archive", "--reflink=auto", from, s.root)
	return s
}

// hostDeb is the package for this machine.
func hostDeb(t *testing.T, version string) string {
	t.Helper()
	arch := map[string]string{"amd64": "amd64", "arm64": "arm64", "arm": "armhf"}[runtime.GOARCH]
	if version == "1.2.3" {
		return deb(t, arch)
	}
	dir, err := build(version, arch)
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, fmt.Sprintf("boundwalk_%s_%s.deb", version, arch))
}

func (s system) path(name string) string { return filepath.Join(s.root, name) }

func (s system) run(args ...string) string {
	s.t.Helper()
	return output(s.t, "chroot", append([]string{s.root, "/usr/bin/env", "-i", "PATH=/usr/sbin:/usr/bin:/sbin:/bin", "DEBIAN_FRONTEND=noninteractive"}, args...)...)
}

func (s system) install(deb string) {
	s.t.Helper()
	output(s.t, "cp", deb, s.path("tmp/boundwalk.deb"))
	s.run("dpkg", "--install", "/tmp/boundwalk.deb")
}

func (s system) write(name, text string) {
	s.t.Helper()
	if err := os.WriteFile(s.path(name), []byte(text), 0o640); err != nil {
		s.t.Fatal(err)
	}
}

// wantFiles says which files must be there; one with a leading "!" must not be.
func (s system) wantFiles(when string, names ...string) {
	s.t.Helper()
	for _, name := range names {
		name, absent := strings.CutPrefix(name, "!")
		if _, err := os.Lstat(s.path(name)); (err != nil) != absent {
			s.t.Errorf("%s: %s: %v", when, name, err)
		}
	}
}

// wantAccess checks the user, and who may do what in the two folders.
func (s system) wantAccess(when string) {
	s.t.Helper()
	user := strings.Split(strings.TrimSpace(s.run("getent", "passwd", "boundwalk")), ":")
	if len(user) != 7 || user[5] != "/var/lib/boundwalk" || !strings.HasSuffix(user[6], "/nologin") {
		s.t.Errorf("%s: user %q, want home /var/lib/boundwalk and no login", when, user)
		return
	}
	group := strings.Split(s.run("getent", "group", "boundwalk"), ":")
	uid, gid := user[2], group[2]
	if user[3] != gid {
		s.t.Errorf("%s: the user's group is %s, boundwalk is %s", when, user[3], gid)
	}
	for name, want := range map[string]string{
		"etc/boundwalk":     "drwxr-x--- 0:" + gid,
		"var/lib/boundwalk": "drwxr-x--- " + uid + ":" + gid,
	} {
		info, err := os.Lstat(s.path(name))
		if err != nil {
			s.t.Errorf("%s: %v", when, err)
			continue
		}
		owner := info.Sys().(*syscall.Stat_t)
		if got := fmt.Sprintf("%v %d:%d", info.Mode(), owner.Uid, owner.Gid); got != want {
			s.t.Errorf("%s: %s is %s, want %s", when, name, got, want)
		}
	}
}

const (
	logbook = "var/lib/boundwalk/logbook.db"
	plan    = "etc/boundwalk/plan.yaml"
)

// The life of a package: installed, configured again, upgraded, removed,
// purged. Plan and logbook outlive all of it, until somebody asks for the end.
func TestPackageLife(t *testing.T) {
	need(t, "debootstrap", "chroot", "dpkg-deb")
	older, newer := hostDeb(t, "1.2.3"), hostDeb(t, "1.3.0")
	s := newSystem(t)
	const sysusers = "usr/bin/systemd-sysusers"

	if err := os.Rename(s.path(sysusers), s.path(sysusers+".away")); err != nil {
		t.Fatal(err)
	}
	s.install(older)
	s.wantAccess("installed with adduser")
	s.wantFiles("installed", "usr/bin/boundwalk", "lib/systemd/system/boundwalk.service", "!"+plan, "!"+logbook)
	s.wantFiles("installed, not enabled", "!etc/systemd/system/multi-user.target.wants/boundwalk.service")
	if got := s.run("dpkg", "--verify", "boundwalk"); got != "" {
		t.Errorf("dpkg --verify: %s", got)
	}
	if got := s.run("setpriv", "--reuid=boundwalk", "--regid=boundwalk", "--clear-groups", "boundwalk", "version"); !strings.Contains(got, "1.2.3") {
		t.Errorf("the service's user sees version %q, want 1.2.3", got)
	}
	s.run("/var/lib/dpkg/info/boundwalk.postinst", "configure", "1.2.3")
	s.wantAccess("configured again")
	s.write(plan, "the plan")
	s.write(logbook, "the logbook")

	s.install(newer)
	s.wantAccess("upgraded")
	s.wantFiles("upgraded", plan, logbook)
	if got := s.run("boundwalk", "version"); !strings.Contains(got, "1.3.0") {
		t.Errorf("upgraded: version %q, want 1.3.0", got)
	}

	s.run("dpkg", "--remove", "boundwalk")
	s.wantFiles("removed", "!usr/bin/boundwalk", "!lib/systemd/system/boundwalk.service", plan, logbook)
	if got := s.run("dpkg", "--purge", "boundwalk"); !strings.Contains(got, "/var/lib/boundwalk and /etc/boundwalk stay") {
		t.Errorf("the purge does not say what stays: %s", got)
	}
	s.wantFiles("purged", plan, logbook)
	for name, want := range map[string]string{plan: "the plan", logbook: "the logbook"} {
		if got, err := os.ReadFile(s.path(name)); string(got) != want {
			t.Errorf("purged: %s holds %q (%v), want %q", name, got, err, want)
		}
	}

	s.run("deluser", "--quiet", "boundwalk")
	if err := os.Rename(s.path(sysusers+".away"), s.path(sysusers)); err != nil {
		t.Fatal(err)
	}
	s.install(newer)
	s.wantAccess("installed anew with sysusers")
	s.run("BOUNDWALK_PURGE_LOGBOOK=yes", "dpkg", "--purge", "boundwalk")
	s.wantFiles("purged with the logbook", "!var/lib/boundwalk", plan)
}
