//go:build !linux

package arp

import (
	"errors"
	"net"

	"github.com/mdlayher/packet"
)

func open(*net.Interface) (*packet.Conn, error) {
	return nil, errors.New("raw ARP sockets are offered on Linux only")
}

func carrier(*net.Interface) (on bool, changes uint32, err error) { return true, 0, nil }
