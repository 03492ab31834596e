package planfile_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"boundwalk/inventory"
	"boundwalk/inventory/planfile"
)

func TestResolve(t *testing.T) {
	dir, creds := t.TempDir(), t.TempDir()
	t.Setenv("CREDENTIALS_DIRECTORY", creds)
	t.Setenv("BOUNDWALK_TEST_SECRET", "from the environment")
	t.Setenv("BOUNDWALK_TEST_EMPTY", "")
	put := func(path, text string, mode os.FileMode) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
	}
	put(filepath.Join(dir, "mine"), "s3cret phrase\n", 0o600)
	put(filepath.Join(dir, "windows"), "s3cret phrase\r\n", 0o400)
	put(filepath.Join(dir, "group"), "s3cret phrase", 0o640) // the group is this process's own
	put(filepath.Join(dir, "world"), "s3cret phrase", 0o604)
	put(filepath.Join(dir, "empty"), "\n", 0o600)
	put(filepath.Join(dir, "lines"), "s3cret\nphrase\n", 0o600)
	put(filepath.Join(dir, "large"), strings.Repeat("s3cret", 1000), 0o600)
	put(filepath.Join(creds, "cred"), "from the manager", 0o440)
	for _, c := range []struct {
		ref  inventory.SecretRef
		want string
		err  error // nil beside an empty want: any error
	}{
		{"file:mine", "s3cret phrase", nil},
		{inventory.SecretRef("file:" + filepath.Join(dir, "mine")), "s3cret phrase", nil},
		{"file:windows", "s3cret phrase", nil},
		{"file:group", "s3cret phrase", nil},
		{"env:BOUNDWALK_TEST_SECRET", "from the environment", nil},
		{"credential:cred", "from the manager", nil},
		{"file:world", "", planfile.ErrOpenSecret},
		{"file:missing", "", planfile.ErrNoSecret},
		{"file:empty", "", planfile.ErrNoSecret},
		{"file:lines", "", nil},
		{"file:large", "", nil},
		{"file:.", "", nil},
		{"env:BOUNDWALK_TEST_UNSET", "", planfile.ErrNoSecret},
		{"env:BOUNDWALK_TEST_EMPTY", "", planfile.ErrNoSecret},
		{"env:A B", "", nil},
		{"credential:../mine", "", nil},
		{"credential:none", "", planfile.ErrNoSecret},
		{"s3cret phrase", "", nil},
		{"", "", nil},
	} {
		got, err := planfile.Resolve(c.ref, dir)
		if string(got) != c.want || (err == nil) != (c.want != "") || c.err != nil && !errors.Is(err, c.err) {
			t.Errorf("%s: %q, %v; want %q, %v", c.ref, string(got), err, c.want, c.err)
		}
		if err != nil && strings.Contains(err.Error(), "s3cret") {
			t.Errorf("the message tells the secret: %v", err)
		}
	}
}

func TestSecretFileOfAForeignGroup(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only root may give a file away")
	}
	path := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(path, []byte("s3cret"), 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Chown(path, 0, 4343); err != nil {
		t.Fatal(err)
	}
	if _, err := planfile.Resolve(inventory.SecretRef("file:"+path), ""); !errors.Is(err, planfile.ErrOpenSecret) {
		t.Errorf("a group that this process is not in may read it: %v", err)
	}
}

func TestSecretsDoNotPrint(t *testing.T) {
	s := planfile.Secret("s3cret")
	var log strings.Builder
	slog.New(slog.NewTextHandler(&log, nil)).Info("x", "secret", s)
	j, err := json.Marshal(map[string]any{"s": s})
	if err != nil {
		t.Fatal(err)
	}
	for _, out := range []string{fmt.Sprint(s), fmt.Sprintf("%s %v %+v %#v %q %x %d %t", s, s, s, s, s, s, s, s), log.String(), string(j),
		fmt.Sprint(errors.New(s.String()))} {
		if strings.Contains(out, "s3cret") || strings.Contains(out, "733363") || !strings.Contains(out, "(hidden)") {
			t.Errorf("it prints as %q", out)
		}
	}
}
