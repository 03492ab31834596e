package snmp_test

import (
	"errors"
	"strings"
	"testing"

	"boundwalk/discover/simnet"
	"boundwalk/discover/snmp"

	"github.com/gosnmp/gosnmp"
)

// Every pair of protocols reads the same rows; long keys by both extensions.
func TestProtocols(t *testing.T) {
	auths := map[string]gosnmp.SnmpV3AuthProtocol{"none": gosnmp.NoAuth, "md5": gosnmp.MD5, "sha": gosnmp.SHA,
		"sha224": gosnmp.SHA224, "sha256": gosnmp.SHA256, "sha384": gosnmp.SHA384, "sha512": gosnmp.SHA512}
	privacies := map[string]gosnmp.SnmpV3PrivProtocol{"none": gosnmp.NoPriv, "des": gosnmp.DES, "aes": gosnmp.AES,
		"aes192": gosnmp.AES192, "aes256": gosnmp.AES256, "aes192c": gosnmp.AES192C, "aes256c": gosnmp.AES256C}
	for auth, authProtocol := range auths {
		for privacy, privacyProtocol := range privacies {
			if auth == "none" && privacy != "none" {
				continue
			}
			t.Run(auth+" "+privacy, func(t *testing.T) {
				user := simnet.User{Name: "audit", Auth: authProtocol, Priv: privacyProtocol}
				cred := snmp.Credentials{Version: "3", User: "audit", Auth: auth, Privacy: privacy}
				if auth != "none" {
					user.AuthPass, cred.AuthSecret = "authpass", "authpass"
				}
				if privacy != "none" {
					user.PrivPass, cred.PrivacySecret = "privpass", "privpass"
				}
				dev := start(t, simnet.AgentOptions{Users: []simnet.User{user}, Rows: quayRows(20)})
				c := dial(t, dev, cred, snmp.Options{})
				for _, table := range c.WalkAll(t.Context(), []snmp.OID{ifIndex, ifDescr}, []snmp.OID{ifName}) {
					if table.Result != snmp.Complete || len(table.Rows)%20 != 0 {
						t.Errorf("got %v, %d rows, %v", table.Result, len(table.Rows), table.Err)
					}
				}
				if st := c.Stats(); st.Retries != 0 || st.BadDatagrams != 0 {
					t.Errorf("got %+v", st)
				}
			})
		}
	}
}

// wrong are credentials that fit auditUser but for one thing, and the word for it.
var wrong = []struct {
	name   string
	change func(c *snmp.Credentials)
	want   error
}{
	{"user", func(c *snmp.Credentials) { c.User = "nobody" }, snmp.ErrWrongUser},
	{"password", func(c *snmp.Credentials) { c.AuthSecret = "wrongwrong" }, snmp.ErrWrongPassword},
	{"digest", func(c *snmp.Credentials) { c.Auth = "sha512" }, snmp.ErrWrongPassword},
	{"privacy password", func(c *snmp.Credentials) { c.PrivacySecret = "wrongwrong" }, snmp.ErrWrongPrivacy},
	{"cipher", func(c *snmp.Credentials) { c.Privacy = "aes" }, snmp.ErrWrongPrivacy},
}

func TestWrongCredentials(t *testing.T) {
	dev := start(t, simnet.AgentOptions{Users: []simnet.User{auditUser}, Rows: quayRows(4)})
	for _, tt := range wrong {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			cred := auditor
			tt.change(&cred)
			_, err := snmp.Dial(t.Context(), dev.addr, cred, quick)
			if !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
			for _, secret := range []string{"authpass256", "privpass256", "wrongwrong"} {
				if err != nil && strings.Contains(err.Error(), secret) {
					t.Errorf("a secret in %q", err)
				}
			}
		})
	}
	t.Run("level", func(t *testing.T) {
		plain := start(t, simnet.AgentOptions{Users: []simnet.User{{Name: "audit"}}, Rows: quayRows(4)})
		if _, err := snmp.Dial(t.Context(), plain.addr, auditor, quick); !errors.Is(err, snmp.ErrSecurityLevel) {
			t.Errorf("got %v", err)
		}
	})
	t.Run("context", func(t *testing.T) {
		cred := auditor
		cred.Context = "vlan-30"
		if _, err := snmp.Dial(t.Context(), dev.addr, cred, quick); !errors.Is(err, snmp.ErrUnknownContext) {
			t.Errorf("got %v", err)
		}
	})
}

// The device restarts between two calls: boots rise, its clock begins again, and
// the authentic report about it is enough to go on.
func TestRestartInMidRun(t *testing.T) {
	dev := start(t, simnet.AgentOptions{Users: []simnet.User{auditUser}, Boots: 7, Rows: quayRows(20)})
	c := dial(t, dev, auditor, snmp.Options{Sockets: 1})
	if e := c.Engine(); e.Boots != 7 {
		t.Errorf("boots %d", e.Boots)
	}
	dev.Restart()
	if got := c.Walk(t.Context(), ifDescr); got.Result != snmp.Complete || len(got.Rows) != 20 {
		t.Errorf("got %v, %v", got.Result, got.Err)
	}
	if e := c.Engine(); e.Boots != 8 {
		t.Errorf("boots %d after the restart", e.Boots)
	}
}

// Another engine at the same address is not the device that first contact met.
func TestEngineChanged(t *testing.T) {
	dev := start(t, simnet.AgentOptions{Users: []simnet.User{auditUser}, Rows: quayRows(4)})
	c := dial(t, dev, auditor, quick)
	dev.faults(t, simnet.Faults{Alter: func(p *gosnmp.SnmpPacket) {
		p.PDUType, p.MsgFlags, p.RequestID = gosnmp.Report, gosnmp.NoAuthNoPriv, 0
		p.Variables = []gosnmp.SnmpPDU{{Name: "1.3.6.1.6.3.15.1.1.4.0", Type: gosnmp.Counter32, Value: uint(1)}}
	}})
	if _, err := c.Get(t.Context(), sysName); !errors.Is(err, snmp.ErrEngineChanged) {
		t.Errorf("get: got %v", err)
	}
	if got := c.Walk(t.Context(), ifDescr); got.Result != snmp.Refused || !errors.Is(got.Err, snmp.ErrEngineChanged) {
		t.Errorf("walk: got %v, %v", got.Result, got.Err)
	}
}

// Each password is hashed once in a process, a megabyte each time: many clients
// on one password cost what one does. What counts is that the keys still differ
// by engine, so that one cracked device does not open the others.
func TestManyEnginesOnePassword(t *testing.T) {
	for _, id := range []string{"\x80\x00\x1f\x88\x04berth-1", "\x80\x00\x1f\x88\x04berth-2", "\x80\x00\x1f\x88\x04berth-3"} {
		dev := start(t, simnet.AgentOptions{Engine: id, Users: []simnet.User{auditUser}, Rows: quayRows(4)})
		c := dial(t, dev, auditor, snmp.Options{})
		if got := string(c.Engine().ID); got != id {
			t.Errorf("got engine %x, want %x", got, id)
		}
		if rows, err := c.Get(t.Context(), sysName); err != nil || rows[0].Value != snmp.ValueOf(snmp.OctetString, "quay-switch") {
			t.Errorf("got %v, %v", rows, err)
		}
	}
}
