package envelope

import (
	"encoding/binary"
	"net"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/mdlayher/packet"
	"golang.org/x/net/bpf"
	"golang.org/x/sys/unix"

	"boundwalk/deploy/lab/netns"
)

// A capture holds every frame that the interfaces of a namespace have sent.
type capture struct {
	t     *testing.T
	conns []*packet.Conn
	wg    sync.WaitGroup

	mu     sync.Mutex
	frames []frame
}

// outgoing keeps what this machine sends: packets of the type PACKET_OUTGOING.
var outgoing = []bpf.Instruction{
	bpf.LoadExtension{Num: bpf.ExtType},
	bpf.JumpIf{Cond: bpf.JumpEqual, Val: unix.PACKET_OUTGOING, SkipFalse: 1},
	bpf.RetConstant{Val: 1 << 18},
	bpf.RetConstant{Val: 0},
}

// record captures from now until the test ends.
func record(t *testing.T, in *netns.Namespace, interfaces ...string) *capture {
	t.Helper()
	filter, err := bpf.Assemble(outgoing)
	if err != nil {
		t.Fatal(err)
	}
	c := &capture{t: t}
	for _, name := range interfaces {
		var conn *packet.Conn
		var err error
		in.Do(func() {
			var ifi *net.Interface
			if ifi, err = net.InterfaceByName(name); err == nil {
				conn, err = packet.Listen(ifi, packet.Raw, unix.ETH_P_ALL, &packet.Config{Filter: filter})
			}
		})
		if err != nil {
			t.Fatalf("capture on %s: %v", name, err)
		}
		c.listen(name, conn)
	}
	t.Cleanup(func() {
		for _, conn := range c.conns {
			conn.Close()
		}
		c.wg.Wait()
	})
	return c
}

// listen has the kernel note when each frame left, since this process may read
// it much later.
func (c *capture) listen(name string, conn *packet.Conn) {
	c.t.Helper()
	raw, err := conn.SyscallConn()
	if err != nil {
		c.t.Fatal(err)
	}
	err = raw.Control(func(fd uintptr) {
		if err = unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1); err == nil {
			err = unix.SetsockoptInt(int(fd), unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, 16<<20)
		}
	})
	if err != nil {
		c.t.Fatal(err)
	}
	c.conns = append(c.conns, conn)
	c.wg.Go(func() {
		b, oob := make([]byte, 1<<17), make([]byte, 256)
		for {
			var n, noob int
			var err error
			if end := raw.Read(func(fd uintptr) bool {
				n, noob, _, _, err = unix.Recvmsg(int(fd), b, oob, 0)
				return err != unix.EAGAIN
			}); end != nil || err != nil {
				return // closed
			}
			f := decode(name, b[:n])
			f.at = stamp(oob[:noob])
			c.mu.Lock()
			c.frames = append(c.frames, f)
			c.mu.Unlock()
		}
	})
}

// stamp is the time in a control message SCM_TIMESTAMPNS; zero where there is none.
func stamp(oob []byte) time.Time {
	messages, err := unix.ParseSocketControlMessage(oob)
	if err != nil {
		return time.Time{}
	}
	for _, m := range messages {
		if m.Header.Level == unix.SOL_SOCKET && m.Header.Type == unix.SCM_TIMESTAMPNS && len(m.Data) == 16 {
			return time.Unix(int64(binary.NativeEndian.Uint64(m.Data)), int64(binary.NativeEndian.Uint64(m.Data[8:])))
		}
	}
	return time.Time{}
}

// sent are the frames so far, by the time when they left.
func (c *capture) sent() []frame {
	c.mu.Lock()
	defer c.mu.Unlock()
	all := slices.Clone(c.frames)
	slices.SortStableFunc(all, func(a, b frame) int { return a.at.Compare(b.at) })
	return all
}

// whole fails the test where a frame was lost, or has no time: then nothing is proved.
func (c *capture) whole() {
	c.t.Helper()
	for _, conn := range c.conns {
		stats, err := conn.Stats()
		if err != nil || stats.Drops > 0 {
			c.t.Fatalf("the capture is not whole: %+v, %v", stats, err)
		}
	}
	for _, f := range c.sent() {
		if f.at.IsZero() {
			c.t.Fatalf("a frame without a time: %s", f)
		}
	}
}
