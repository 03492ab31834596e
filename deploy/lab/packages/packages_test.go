// Package packages_test builds the Debian packages as a release does, and tries
// what they bring: the unit, the scripts, the manual, the foreign binaries.
package packages_test

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
)

const repository = "../../.."

// scratch holds what the tests share, and goes when they end.
var scratch string

func TestMain(m *testing.M) {
	os.Exit(func() int {
		var err error
		if scratch, err = os.MkdirTemp("", "boundwalk-packages-"); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(scratch)
		if err := noteSources(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		return m.Run()
	}())
}

// noteSources looks at every folder of the repository, so that the go command
// sees what the packages are made of, and keeps no result of older sources.
func noteSources() error {
	return filepath.WalkDir(repository, func(path string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() && (d.Name() == ".git" || d.Name() == "dist") {
			return filepath.SkipDir
		}
		return err
	})
}

// need skips t without root or one of the programs, and fails it in CI.
func need(t *testing.T, programs ...string) {
	t.Helper()
	why := ""
	if os.Getuid() != 0 {
		why = "needs root"
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			why = "needs " + p + " (deploy/lab/packages.txt)"
		}
	}
	switch {
	case why == "":
	case os.Getenv("CI") != "":
		t.Fatal(why)
	default:
		t.Skip(why)
	}
}

// output runs a command and returns what it wrote to both streams. t fails where the command does.
func output(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %q: %v\n%s", name, args, err, out)
	}
	return string(out)
}

// build makes packages into a new folder of scratch and returns the folder.
func build(version string, arches ...string) (string, error) {
	dir, err := os.MkdirTemp(scratch, "debs-")
	if err != nil {
		return "", err
	}
	c := exec.Command("bash", append([]string{filepath.Join(repository, "deploy/package/build.sh"), version}, arches...)...)
	// A fixed moment, for a commit may land between two builds. It is 2026-01-01.
	c.Env = append(os.Environ(), "DIST="+dir, "SOURCE_DATE_EPOCH=1767225600")
	if out, err := c.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build.sh %s %q: %w\n%s", version, arches, err, out)
	}
	return dir, nil
}

var arches = []string{"amd64", "arm64", "armhf"}

// release is version 1.2.3 for each architecture, built once for all tests.
var release = sync.OnceValues(func() (string, error) { return build("1.2.3", arches...) })

func deb(t *testing.T, arch string) string {
	t.Helper()
	dir, err := release()
	if err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "boundwalk_1.2.3_"+arch+".deb")
}

// unpacked is a folder with the files of a package.
func unpacked(t *testing.T, arch string) string {
	t.Helper()
	dir := t.TempDir()
	output(t, "dpkg-deb", "--extract", deb(t, arch), dir)
	return dir
}

func TestSameBytes(t *testing.T) {
	need(t, "dpkg-deb")
	first := make(map[string][]byte)
	for _, arch := range arches {
		b, err := os.ReadFile(deb(t, arch))
		if err != nil {
			t.Fatal(err)
		}
		first[arch] = b
	}
	again, err := build("1.2.3", arches...)
	if err != nil {
		t.Fatal(err)
	}
	for _, arch := range arches {
		b, err := os.ReadFile(filepath.Join(again, "boundwalk_1.2.3_"+arch+".deb"))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(b, first[arch]) {
			t.Errorf("%s: two builds of the same source differ (%d and %d bytes)", arch, len(first[arch]), len(b))
		}
		if got := output(t, "dpkg-deb", "--field", deb(t, arch), "Architecture", "Version"); got != "Architecture: "+arch+"\nVersion: 1.2.3\n" {
			t.Errorf("fields of the %s package:\n%s", arch, got)
		}
	}
}
