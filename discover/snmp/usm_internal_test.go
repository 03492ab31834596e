package snmp

import (
	"encoding/hex"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
)

// vectorEngine is the engine ID of RFC 3414, A.3.
var vectorEngine = Engine{ID: []byte{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 2}, Boots: 1, Time: 100}

// The rows for MD5 and SHA-1 are published: RFC 3414, A.3.1, A.3.2 and A.5. Those
// for SHA-2 are computed by the same algorithm, as RFC 7860, section 5 asks, which
// has no vectors of its own.
func TestLocalisedKeys(t *testing.T) {
	for _, tt := range []struct{ auth, password, want string }{
		{"md5", "maplesyrup", "526f5eed9fcce26f8964c2930787d82b"},
		{"sha", "maplesyrup", "6695febc9288e36282235fc7151f128497b38f3f"},
		{"md5", "newsyrup", "87021d7bd9d101ba05ea6e3bf9d9bd4a"},
		{"sha", "newsyrup", "78e2dcce79d59403b58c1bbaa5bff46391f1cd25"},
		{"sha224", "maplesyrup", "0bd8827c6e29f8065e08e09237f177e410f69b90e1782be682075674"},
		{"sha256", "maplesyrup", "8982e0e549e866db361a6b625d84cccc11162d453ee8ce3a6445c2d6776f0f8b"},
		{"sha384", "maplesyrup", "3b298f16164a11184279d5432bf169e2d2a48307de02b3d3f7e2b4f36eb6f0455a53689a3937eea07319a633d2ccba78"},
		{"sha512", "maplesyrup", "22a5a36cedfcc085807a128d7bc6c2382167ad6c0dbc5fdff856740f3d84c099ad1ea87a8db096714d9788bd544047c9021e4229ce27e4c0a69250adfcffbb0b"},
	} {
		t.Run(tt.auth+" "+tt.password, func(t *testing.T) {
			w, err := newUSM(Credentials{Version: "3", User: "bert", Auth: tt.auth, AuthSecret: Secret(tt.password)}, vectorEngine)
			if err != nil {
				t.Fatal(err)
			}
			if got := hex.EncodeToString(w.user.SecretKey); got != tt.want {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

// A privacy key under SHA-1 is the localised key cut to 16 octets, localised with
// the authentication hash (RFC 3414, A.5.2; RFC 3826, 3.1.2).
func TestPrivacyKey(t *testing.T) {
	w, err := newUSM(Credentials{Version: "3", User: "bert", Auth: "sha", AuthSecret: "maplesyrup", Privacy: "aes", PrivacySecret: "newsyrup"}, vectorEngine)
	if err != nil {
		t.Fatal(err)
	}
	if got := hex.EncodeToString(w.user.PrivacyKey); got != "78e2dcce79d59403b58c1bbaa5bff463" {
		t.Errorf("got %s", got)
	}
	// The two ways to lengthen a key differ from octet 21 on.
	long := map[string]string{}
	for _, privacy := range []string{"aes256", "aes256c"} {
		w, err := newUSM(Credentials{Version: "3", User: "bert", Auth: "sha", AuthSecret: "maplesyrup", Privacy: privacy, PrivacySecret: "newsyrup"}, vectorEngine)
		if err != nil {
			t.Fatal(err)
		}
		long[privacy] = hex.EncodeToString(w.user.PrivacyKey)
	}
	const common = "78e2dcce79d59403b58c1bbaa5bff46391f1cd25" // RFC 3414, A.5.2
	if a, c := long["aes256"], long["aes256c"]; len(a) != 64 || len(c) != 64 || a == c ||
		!strings.HasPrefix(a, common) || !strings.HasPrefix(c, common) {
		t.Errorf("got %v", long)
	}
}

var authPriv = Credentials{Version: "3", User: "audit", Auth: "sha256", AuthSecret: "authpass256", Privacy: "aes", PrivacySecret: "privpass128"}

// message is what an engine with cred's keys sends about request 1.
type message struct {
	cred   Credentials
	engine Engine
	level  gosnmp.SnmpV3MsgFlags
	change func(p *gosnmp.SnmpPacket)
}

func (m message) encode(t testing.TB) []byte {
	t.Helper()
	w, err := newUSM(m.cred, m.engine)
	if err != nil {
		t.Fatal(err)
	}
	w.user.AuthoritativeEngineBoots, w.user.AuthoritativeEngineTime = m.engine.Boots, m.engine.Time
	p := w.codec.MkSnmpPacket(gosnmp.GetResponse, []gosnmp.SnmpPDU{{Name: pingOID.String(), Type: gosnmp.TimeTicks, Value: uint32(123456)}}, 0, 0)
	p.MsgFlags, p.MsgID, p.RequestID = m.level, 1, 1
	if m.change != nil {
		m.change(p)
	}
	if p.MsgFlags&gosnmp.AuthPriv == gosnmp.AuthPriv {
		if err := w.user.InitPacket(p); err != nil {
			t.Fatal(err)
		}
	}
	b, err := p.MarshalMsg()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func report(counter string) func(*gosnmp.SnmpPacket) {
	return func(p *gosnmp.SnmpPacket) {
		p.PDUType, p.RequestID = gosnmp.Report, 0
		p.Variables = []gosnmp.SnmpPDU{{Name: counter, Type: gosnmp.Counter32, Value: uint(3)}}
	}
}

// usmCase is a message and what is made of it; nil: it is the answer.
type usmCase struct {
	name string
	msg  message
	want error
}

func at(boots, seconds uint32) Engine {
	return Engine{ID: vectorEngine.ID, Boots: boots, Time: seconds}
}

// usmCases follow RFC 3414, 3.2 and RFC 3412, 7.2.
func usmCases() []usmCase {
	stranger := authPriv
	stranger.User = "other"
	wrong := authPriv
	wrong.AuthSecret = "authpass257"
	other := Engine{ID: []byte("\x80\x00\x1f\x88\x04other"), Boots: 1, Time: 100}
	return []usmCase{
		{"answer", message{authPriv, vectorEngine, gosnmp.AuthPriv, nil}, nil},
		{"after a restart", message{authPriv, at(2, 1), gosnmp.AuthPriv, nil}, nil},
		{"140 s late", message{authPriv, at(1, 860), gosnmp.AuthPriv, nil}, nil},
		{"replayed, 200 s old", message{authPriv, at(1, 800), gosnmp.AuthPriv, nil}, errStray},
		{"replayed from before the restart", message{authPriv, at(0, 5000), gosnmp.AuthPriv, nil}, errStray},
		{"not private", message{authPriv, vectorEngine, gosnmp.AuthNoPriv, nil}, errStray},
		{"not authentic", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, nil}, errStray},
		{"another user", message{stranger, vectorEngine, gosnmp.AuthPriv, nil}, errStray},
		{"wrong key", message{wrong, vectorEngine, gosnmp.AuthPriv, nil}, errStray},
		{"another engine", message{authPriv, other, gosnmp.AuthPriv, nil}, errStray},
		{"another message", message{authPriv, vectorEngine, gosnmp.AuthPriv, func(p *gosnmp.SnmpPacket) { p.MsgID = 2 }}, errStray},
		{"another request", message{authPriv, vectorEngine, gosnmp.AuthPriv, func(p *gosnmp.SnmpPacket) { p.RequestID = 2 }}, errStray},
		{"request ID 0", message{authPriv, vectorEngine, gosnmp.AuthPriv, func(p *gosnmp.SnmpPacket) { p.RequestID = 0 }}, errStray},
		{"a request", message{authPriv, vectorEngine, gosnmp.AuthPriv, func(p *gosnmp.SnmpPacket) { p.PDUType = gosnmp.GetRequest }}, errStray},
		{"report on another message", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, func(p *gosnmp.SnmpPacket) {
			report("1.3.6.1.6.3.15.1.1.3.0")(p)
			p.MsgID = 2
		}}, errStray},
		{"wrong user", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.3.0")}, ErrWrongUser},
		{"without the final .0", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.3")}, ErrWrongUser},
		{"level", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.1.0")}, ErrSecurityLevel},
		{"clock, authentic", message{authPriv, at(5, 77), gosnmp.AuthNoPriv, report("1.3.6.1.6.3.15.1.1.2.0")}, ErrClock},
		{"clock, not authentic", message{authPriv, at(5, 77), gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.2.0")}, ErrClock},
		{"engine", message{authPriv, other, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.4.0")}, ErrEngineChanged},
		{"digest", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.5.0")}, ErrWrongPassword},
		{"decryption", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.15.1.1.6.0")}, ErrWrongPrivacy},
		{"context", message{authPriv, vectorEngine, gosnmp.AuthPriv, report("1.3.6.1.6.3.12.1.5.0")}, ErrUnknownContext},
		{"no USM", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.6.3.11.2.1.1.0")}, ErrRefused},
		{"unknown report", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, report("1.3.6.1.2.1.1.3.0")}, ErrRefused},
		{"empty report", message{authPriv, vectorEngine, gosnmp.NoAuthNoPriv, func(p *gosnmp.SnmpPacket) { p.PDUType, p.Variables = gosnmp.Report, nil }}, ErrRefused},
	}
}

func TestUSMAnswers(t *testing.T) {
	for _, tt := range usmCases() {
		t.Run(tt.name, func(t *testing.T) {
			w, err := newUSM(authPriv, at(1, 1000))
			if err != nil {
				t.Fatal(err)
			}
			// One answer has come before, so that the clock is proven.
			if _, err := w.decode(message{authPriv, at(1, 1000), gosnmp.AuthPriv, nil}.encode(t), []uint32{1}); err != nil {
				t.Fatal("first answer:", err)
			}
			if tt.msg.engine.Time == vectorEngine.Time {
				tt.msg.engine.Time = 1001
			}
			p, err := w.decode(tt.msg.encode(t), []uint32{7, 1})
			if !errors.Is(err, tt.want) || (err == nil) != (tt.want == nil) {
				t.Fatalf("got %v, want %v", err, tt.want)
			}
			if err == nil && (len(p.Variables) != 1 || valueOf(p.Variables[0]) != ValueOf(TimeTicks, 123456)) {
				t.Errorf("got %v", p.Variables)
			}
			if boots := w.engine().Boots; tt.name == "clock, authentic" && boots != 5 || tt.name == "clock, not authentic" && boots != 1 {
				t.Errorf("engine boots are now %d", boots)
			}
		})
	}
}

// Without authentication, the names are all there is to go by. A report may come
// without the user's.
func TestUSMWithoutAuthentication(t *testing.T) {
	user, other := Credentials{Version: "3", User: "audit"}, Credentials{Version: "3", User: "other"}
	w, err := newUSM(user, vectorEngine)
	if err != nil {
		t.Fatal(err)
	}
	nobody := func(p *gosnmp.SnmpPacket) {
		report("1.3.6.1.6.3.15.1.1.3.0")(p)
		p.SecurityParameters.(*gosnmp.UsmSecurityParameters).UserName = ""
	}
	for _, tt := range []struct {
		name string
		msg  message
		want error
	}{
		{"answer", message{user, vectorEngine, gosnmp.NoAuthNoPriv, nil}, nil},
		{"another user", message{other, vectorEngine, gosnmp.NoAuthNoPriv, nil}, errStray},
		{"another engine", message{user, Engine{ID: []byte("\x80\x00\x1f\x88\x04other")}, gosnmp.NoAuthNoPriv, nil}, errStray},
		{"report without a user", message{user, vectorEngine, gosnmp.NoAuthNoPriv, nobody}, ErrWrongUser},
	} {
		if _, err := w.decode(tt.msg.encode(t), []uint32{1}); !errors.Is(err, tt.want) || (err == nil) != (tt.want == nil) {
			t.Errorf("%s: got %v, want %v", tt.name, err, tt.want)
		}
	}
}

// The clock of first contact was not authentic, so that anyone could have set it;
// the first authentic one replaces it. Between answers it runs on.
func TestUSMClock(t *testing.T) {
	w, err := newUSM(authPriv, Engine{ID: vectorEngine.ID, Boots: 9, Time: 5000})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.decode(message{authPriv, vectorEngine, gosnmp.AuthPriv, nil}.encode(t), []uint32{1}); err != nil {
		t.Fatal(err)
	}
	w.synced = w.synced.Add(-time.Hour)
	if e := w.engine(); e.Boots != 1 || e.Time < 3700 || e.Time > 3760 {
		t.Errorf("an hour later: %+v", e)
	}
	if _, err := w.encode(request{pdu: gosnmp.GetRequest, oids: []OID{pingOID}}, 1); err != nil || w.user.AuthoritativeEngineTime < 3700 {
		t.Errorf("sent with time %d, %v", w.user.AuthoritativeEngineTime, err)
	}
}

// What we say we can take fits an Ethernet frame (RFC 3417, 3.2).
func TestUSMMessageSize(t *testing.T) {
	w, err := newUSM(Credentials{Version: "3", User: "audit"}, vectorEngine)
	if err != nil {
		t.Fatal(err)
	}
	b, err := w.encode(request{pdu: gosnmp.GetRequest, oids: []OID{pingOID}}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if p, err := decodePlain(b); err != nil || p.MsgMaxSize != 1472 {
		t.Errorf("got %v, %v", p, err)
	}
}

// A flipped bit anywhere must not get through; nor may it panic.
func TestUSMTampered(t *testing.T) {
	b := message{authPriv, vectorEngine, gosnmp.AuthPriv, nil}.encode(t)
	w, err := newUSM(authPriv, vectorEngine)
	if err != nil {
		t.Fatal(err)
	}
	for i := range b {
		bad := append([]byte(nil), b...)
		bad[i] ^= 0x04
		if p, err := w.decode(bad, []uint32{1}); err == nil {
			t.Errorf("octet %d flipped: taken with %v", i, p.Variables)
		}
	}
}

// The request of RFC 3414, section 4: nothing in it, and reportable.
func TestDiscoveryRequest(t *testing.T) {
	b, err := discovery{}.encode(request{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	p, err := decodePlain(b)
	if err != nil {
		t.Fatal(err)
	}
	from := p.SecurityParameters.(*gosnmp.UsmSecurityParameters)
	if p.MsgFlags != gosnmp.Reportable || p.PDUType != gosnmp.GetRequest || len(p.Variables) != 0 || p.MsgMaxSize != 1472 ||
		from.UserName != "" || from.AuthoritativeEngineID != "" || p.ContextEngineID != "" {
		t.Errorf("got %+v, user parameters %v", p, from.SafeString())
	}
}

// An engine that tells no valid ID cannot be asked any further.
func TestDiscoveryAnswers(t *testing.T) {
	for _, tt := range []struct {
		name, id, counter string
		want              error
	}{
		{"engine", "\x80\x00\x1f\x88\x04sw-1", "1.3.6.1.6.3.15.1.1.4.0", nil},
		{"under another counter", "\x80\x00\x1f\x88\x04sw-1", "1.3.6.1.6.3.15.1.1.3.0", nil},
		{"no engine ID", "", "1.3.6.1.6.3.15.1.1.4.0", ErrRefused},
		{"all zero", "\x00\x00\x00\x00\x00\x00", "1.3.6.1.6.3.15.1.1.4.0", ErrRefused},
		{"USM not enabled", "", "1.3.6.1.6.3.11.2.1.1.0", ErrRefused},
	} {
		t.Run(tt.name, func(t *testing.T) {
			cred := Credentials{Version: "3", User: "x"}
			b := message{cred, Engine{ID: []byte(tt.id), Boots: 3, Time: 9}, gosnmp.NoAuthNoPriv, report(tt.counter)}.encode(t)
			p, err := discovery{}.decode(b, []uint32{1})
			if !errors.Is(err, tt.want) || (err == nil) != (tt.want == nil) {
				t.Fatalf("got %v, want %v", err, tt.want)
			}
			if err == nil {
				if e := engineOf(p); string(e.ID) != tt.id || e.Boots != 3 || e.Time != 9 {
					t.Errorf("got %+v", e)
				}
			}
		})
	}
}
