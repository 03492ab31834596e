//go:build !unix

package planfile

import (
	"errors"
	"fmt"
)

// Write is not offered here: this system has no way to replace a file at once.
func Write(path string, old, text []byte) error {
	return fmt.Errorf("write plan %s: %w", path, errors.ErrUnsupported)
}
