package planfile

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"boundwalk/inventory"
)

// Secret is a secret of the site. It prints as (hidden) everywhere; convert it
// to string to use it. The zero value is no secret.
type Secret string

const hidden = "(hidden)"

// String hides the secret.
func (Secret) String() string { return hidden }

// Format hides the secret whatever the verb.
func (Secret) Format(f fmt.State, _ rune) { io.WriteString(f, hidden) }

// MarshalText hides the secret from encoders.
func (Secret) MarshalText() ([]byte, error) { return []byte(hidden), nil }

// LogValue hides the secret from logs.
func (Secret) LogValue() slog.Value { return slog.StringValue(hidden) }

var (
	// ErrNoSecret is returned when nothing lies where the plan says that a secret is.
	ErrNoSecret = errors.New("no secret there")

	// ErrOpenSecret is returned when others than its owner may read a secret's file.
	ErrOpenSecret = errors.New("others may read it")
)

// maxSecret is the largest secret, in bytes.
const maxSecret = 4096

var envForm = regexp.MustCompile(`^[A-Za-z_][A-Za-z0-9_]*$`)

// secretKinds tells for each kind of reference what may stand behind its colon.
var secretKinds = map[string]func(string) bool{
	"file":       func(s string) bool { return !badText(s) && strings.TrimSpace(s) != "" },
	"env":        envForm.MatchString,
	"credential": func(s string) bool { return s != "." && s != ".." && s == filepath.Base(s) && !badText(s) },
}

// Resolve reads the secret that a plan refers to: a file, relative to dir, the
// plan's directory, unless its path is full; an environment variable; or a
// credential that the service manager passed (systemd, $CREDENTIALS_DIRECTORY).
// One line end behind it is left off. The errors are ErrNoSecret and
// ErrOpenSecret, else those of the file; none of them tells the secret.
func Resolve(ref inventory.SecretRef, dir string) (Secret, error) {
	kind, what, _ := strings.Cut(string(ref), ":")
	if valid := secretKinds[kind]; valid == nil || !valid(what) {
		return "", errors.New("secret: a reference is file:NAME, env:NAME or credential:NAME") // not which: it may be the secret
	}
	s, err := readSecret(kind, what, dir)
	switch {
	case err != nil:
		return "", fmt.Errorf("secret %s: %w", ref, err)
	case s == "":
		return "", fmt.Errorf("secret %s: %w: it is empty", ref, ErrNoSecret)
	case strings.ContainsAny(s, "\r\n\x00"):
		return "", fmt.Errorf("secret %s: it has several lines; a secret is one", ref)
	}
	return Secret(s), nil
}

func readSecret(kind, what, dir string) (string, error) {
	switch kind {
	case "env":
		s, ok := os.LookupEnv(what)
		if !ok {
			return "", fmt.Errorf("%w: the variable is not set", ErrNoSecret)
		}
		return s, nil
	case "credential":
		at := os.Getenv("CREDENTIALS_DIRECTORY")
		if at == "" {
			return "", fmt.Errorf("%w: the service manager passed no credentials (CREDENTIALS_DIRECTORY is not set)", ErrNoSecret)
		}
		// Its rights are the service manager's; an access list may show there as a group's.
		return readSecretFile(filepath.Join(at, what), func(os.FileInfo) error { return nil })
	}
	if !filepath.IsAbs(what) {
		what = filepath.Join(dir, what)
	}
	return readSecretFile(what, checkRights)
}

func readSecretFile(path string, check func(os.FileInfo) error) (string, error) {
	info, err := os.Stat(path) // before opening: opening a pipe would wait
	if errors.Is(err, os.ErrNotExist) {
		return "", fmt.Errorf("%w: %s does not exist", ErrNoSecret, path)
	}
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", fmt.Errorf("%s is no file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	if info, err = f.Stat(); err != nil {
		return "", err
	}
	if err := check(info); err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	b, err := io.ReadAll(io.LimitReader(f, maxSecret+1))
	if err != nil {
		return "", err
	}
	if len(b) > maxSecret {
		return "", fmt.Errorf("%s is larger than %d bytes", path, maxSecret)
	}
	return strings.TrimSuffix(strings.TrimSuffix(string(b), "\n"), "\r"), nil
}

// checkRights refuses a file that others may read or write, or a group that
// this process is not in.
func checkRights(info os.FileInfo) error {
	mode := info.Mode().Perm()
	if mode&0o007 != 0 {
		return fmt.Errorf("%w (mode %#o): chmod o= takes that away", ErrOpenSecret, mode)
	}
	if mode&0o070 != 0 && !inOurGroups(info) {
		return fmt.Errorf("%w: a group that this process is not in (mode %#o): chmod g= takes that away", ErrOpenSecret, mode)
	}
	return nil
}
