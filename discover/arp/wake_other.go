//go:build !linux

package arp

import (
	"context"
	"errors"
)

var errLinuxOnly = errors.New("the kernel's neighbour table is read on Linux only")

// Wake is offered on Linux only.
func Wake(context.Context, string, Options) (Result, error) { return Result{}, errLinuxOnly }

// Neighbors is offered on Linux only.
func Neighbors(context.Context, string) ([]Neighbor, error) { return nil, errLinuxOnly }
