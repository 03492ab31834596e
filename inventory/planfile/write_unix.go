//go:build unix

package planfile

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	"github.com/google/renameio/v2"
	"golang.org/x/sys/unix"
)

// Write puts text in the place of the plan file at path, at once: who reads it
// sees the old plan or the new one, also after a power cut. The text before is
// kept beside it once, as path~. Mode and owner stay; a symbolic link stays, and
// what it points to is written. old is what the text was made from. The errors
// are ErrChanged if the file holds something else by now, ErrReadOnly, or those
// of the file system; then the file is as it was.
func Write(path string, old, text []byte) error {
	if err := write(path, old, text); err != nil {
		return fmt.Errorf("write plan %s: %w", path, err)
	}
	return nil
}

func write(path string, old, text []byte) error {
	if len(text) > MaxSize {
		return fmt.Errorf("the text has %d bytes; at most %d are read", len(text), MaxSize)
	}
	path, err := filepath.EvalSymlinks(path)
	if err != nil {
		return err
	}
	held, err := hold(path)
	if err != nil {
		return err
	}
	defer held.Close()
	info, err := held.Stat()
	if err != nil {
		return err
	}
	if err := writable(path, info); err != nil {
		return err
	}
	now, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	if there, err := os.Stat(path); err != nil || !os.SameFile(there, info) || !bytes.Equal(now, old) {
		return errors.Join(ErrChanged, err)
	}
	if err := replace(path+"~", old, info); err != nil {
		return fmt.Errorf("keep the old plan: %w", err)
	}
	return replace(path, text, info)
}

// hold opens the file and locks it against a second writer of ours. The lock is
// on the file that is replaced: who comes later finds another one.
func hold(path string) (*os.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, fmt.Errorf("another change is being written: %w", ErrChanged)
		}
		return nil, fmt.Errorf("lock: %w", err)
	}
	return f, nil
}

// writable refuses a file that is not to be written. Renaming over it would
// succeed all the same, where its directory may be written.
func writable(path string, info os.FileInfo) error {
	if !info.Mode().IsRegular() {
		return errors.New("it is no file")
	}
	if info.Mode().Perm()&0o222 == 0 {
		return fmt.Errorf("%w (mode %#o)", ErrReadOnly, info.Mode().Perm())
	}
	if err := unix.Access(path, unix.W_OK); err != nil {
		return fmt.Errorf("%w: %w", ErrReadOnly, err)
	}
	if dir := filepath.Dir(path); unix.Access(dir, unix.W_OK) != nil {
		return fmt.Errorf("%w: files cannot be made in its directory %s", ErrReadOnly, dir)
	}
	return nil
}

// replace writes a file beside path and renames it over that, with the mode and
// the owner of like.
func replace(path string, text []byte, like os.FileInfo) error {
	f, err := renameio.NewPendingFile(path, renameio.WithTempDir(filepath.Dir(path)), renameio.WithStaticPermissions(like.Mode().Perm()))
	if err != nil {
		return err
	}
	defer f.Cleanup()
	if err := keepOwner(f.File, like); err != nil {
		return err
	}
	if _, err := f.Write(text); err != nil {
		return err
	}
	if err := f.CloseAtomicallyReplace(); err != nil {
		return err
	}
	return syncDir(filepath.Dir(path))
}

// syncDir makes the renaming itself last: renameio leaves that to its caller.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// keepOwner gives a file the owner and the group of another.
func keepOwner(f *os.File, like os.FileInfo) error {
	now, err := f.Stat()
	if err != nil {
		return err
	}
	want, ok := like.Sys().(*syscall.Stat_t)
	have, ok2 := now.Sys().(*syscall.Stat_t)
	if !ok || !ok2 || want.Uid == have.Uid && want.Gid == have.Gid {
		return nil
	}
	if err := f.Chown(int(want.Uid), int(want.Gid)); err != nil {
		return fmt.Errorf("its owner (%d:%d) cannot be kept: %w", want.Uid, want.Gid, err)
	}
	return nil
}
