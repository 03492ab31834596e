package store_test

import (
	"os"
	"os/exec"
	"syscall"
)

// become makes the command run as another user without rights.
func become(cmd *exec.Cmd, id uint32) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: id, Gid: id}}
}

// killSelf ends this process as a power cut would.
func killSelf() { syscall.Kill(os.Getpid(), syscall.SIGKILL) } //nolint:errcheck // it does not return
