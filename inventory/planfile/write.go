package planfile

import "errors"

// ErrChanged is returned when a plan file is no longer what a change was made
// from: someone else wrote it meanwhile, or is writing it.
var ErrChanged = errors.New("the plan changed meanwhile: look at it, and try again")

// ErrReadOnly is returned when a plan file must not be written.
var ErrReadOnly = errors.New("the plan is read-only")
