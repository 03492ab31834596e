package login_test

import (
	"net/netip"
	"strings"
	"testing"
	"time"

	"boundwalk/discover/login"
)

var (
	noon  = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	mac31 = [6]byte{0, 0, 0x5e, 0, 0x53, 0x31}
	mac32 = [6]byte{0, 0, 0x5e, 0, 0x53, 0x32}
	mac99 = [6]byte{2, 0, 0x5e, 0, 0x53, 0x99}
)

// onQuay is a target that the gate lets through, with one MAC read just now.
func onQuay() (login.Target, login.Sighting) {
	return login.Target{
		Device: "slip-cam", MACs: [][6]byte{mac31, mac32}, Address: netip.MustParseAddr("10.20.0.131"),
		Firmware: "1.0", Booted: noon.AddDate(-2, 0, 0), Switch: login.AfterChange, Account: account(login.OverRTSP),
	}, login.Sighting{MAC: mac31, At: noon.Add(-2 * time.Second)}
}

// past is an earlier try of the same account.
func past(ago time.Duration, o login.Outcome) login.Try {
	y := login.Try{Device: "slip-cam", MAC: mac31, Entry: "dome 1", At: noon.Add(-ago), Firmware: "1.0", Outcome: o, Sent: 1}
	if o == login.Locked {
		y.Lock = "status 423"
	}
	return y
}

func TestGateOnPlanAndLink(t *testing.T) {
	cases := []struct {
		name   string
		change func(*login.Target, *login.Sighting)
		want   string // of why; "" is allowed
	}{
		{"all is well", func(t *login.Target, s *login.Sighting) {}, ""},
		{"an unknown device", func(t *login.Target, s *login.Sighting) { t.Device = "" }, "no plan names"},
		{"no account", func(t *login.Target, s *login.Sighting) { t.Account = login.Account{} }, "no factory account"},
		{"a password that was wiped", func(t *login.Target, s *login.Sighting) { t.Account.Password.Wipe() }, "no factory account"},
		{"an empty password is one", func(t *login.Target, s *login.Sighting) { t.Account.Password = login.NewSecret("") }, ""},
		{"leave_alone", func(t *login.Target, s *login.Sighting) { t.LeaveAlone = true }, "leave it alone"},
		{"factory account is the intended one", func(t *login.Target, s *login.Sighting) { t.SameAsIntended = true }, "intended"},
		{"switched off", func(t *login.Target, s *login.Sighting) { t.Switch = login.Off }, "is off"},
		{"switched off, although asked", func(t *login.Target, s *login.Sighting) { t.Switch, t.Asked = login.Off, true }, "is off"},
		{"on request, not asked", func(t *login.Target, s *login.Sighting) { t.Switch = login.OnRequest }, "on request only"},
		{"on request, asked", func(t *login.Target, s *login.Sighting) { t.Switch, t.Asked = login.OnRequest, true }, ""},
		{"no way that is known", func(t *login.Target, s *login.Sighting) { t.Account.Over = "telnet" }, "no way to log in"},
		{"a form without a sign", func(t *login.Target, s *login.Sighting) { t.Account.Over = login.OverForm }, "sign of success"},
		{"a path that names a host", func(t *login.Target, s *login.Sighting) { t.Account.Path = "//198.51.100.1/" }, "path"},
		{"a path with a second line", func(t *login.Target, s *login.Sighting) { t.Account.Path = "/a\r\nX: y" }, "path"},
		{"Basic with a colon in the name", func(t *login.Target, s *login.Sighting) { t.Account.Over, t.Account.User = login.OverHTTPBasic, "a:b" }, "colon"},
		{"the planned second MAC", func(t *login.Target, s *login.Sighting) { s.MAC = mac32 }, ""},
		{"another MAC took the address", func(t *login.Target, s *login.Sighting) { s.MAC = mac99 }, "not the planned one"},
		{"another MAC, although asked", func(t *login.Target, s *login.Sighting) { s.MAC, t.Asked = mac99, true }, "not the planned one"},
		{"no MAC read", func(t *login.Target, s *login.Sighting) { *s = login.Sighting{} }, "no MAC could be read"},
		{"no MAC planned", func(t *login.Target, s *login.Sighting) { t.MACs = nil }, "names no MAC"},
		{"MAC read a minute ago", func(t *login.Target, s *login.Sighting) { s.At = noon.Add(-time.Minute) }, "not read just before"},
		{"MAC read tomorrow", func(t *login.Target, s *login.Sighting) { s.At = noon.Add(time.Hour) }, "not read just before"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			target, seen := onQuay()
			c.change(&target, &seen)
			sameDecision(t, login.Gate{}.Decide(noon, target, seen, nil), c.want)
		})
	}
}

func sameDecision(t *testing.T, d login.Decision, want string) {
	t.Helper()
	if d.Allowed != (want == "") || !strings.Contains(d.Why, want) || d.Why == "" {
		t.Errorf("allowed %v because %q, want %q", d.Allowed, d.Why, want)
	}
}

func TestGateOnAddress(t *testing.T) {
	cases := []struct {
		address string
		plain   bool // without a lab
		inLab   bool // where the lab names loopback, all documentation ranges, and everything
	}{
		{"10.0.0.1", true, true}, // RFC 1918
		{"172.31.255.1", true, true},
		{"172.32.0.1", false, false},
		{"192.168.1.1", true, true},
		{"::ffff:192.168.1.1", true, true},
		{"::ffff:8.8.8.8", false, false},
		{"169.254.7.7", true, true}, // RFC 3927
		{"fe80::1%eth0", true, true},
		{"fd00::1", true, true}, // RFC 4193
		{"fe00::1", false, false},
		{"127.0.0.1", false, true},
		{"::1", false, true},
		{"192.0.2.1", false, true}, // RFC 5737
		{"198.51.100.9", false, true},
		{"203.0.113.131", false, true},
		{"2001:db8::5", false, true}, // RFC 3849
		{"100.64.0.1", false, false}, // RFC 6598 is not private
		{"224.0.0.1", false, false},
		{"255.255.255.255", false, false},
		{"0.0.0.0", false, false},
		{"2001:4860::1", false, false},
	}
	lab := []netip.Prefix{netip.MustParsePrefix("0.0.0.0/0"), netip.MustParsePrefix("::/0")}
	for _, c := range cases {
		for _, g := range []struct {
			gate login.Gate
			want bool
		}{{login.Gate{}, c.plain}, {login.Gate{Lab: lab}, c.inLab}} {
			target, seen := onQuay()
			target.Address = netip.MustParseAddr(c.address)
			if d := g.gate.Decide(noon, target, seen, nil); d.Allowed != g.want {
				t.Errorf("%s with lab %v: allowed %v (%s), want %v", c.address, g.gate.Lab, d.Allowed, d.Why, g.want)
			}
		}
	}
	target, seen := onQuay()
	target.Address = netip.Addr{}
	if d := (login.Gate{Lab: lab}).Decide(noon, target, seen, nil); d.Allowed {
		t.Error("no address is allowed")
	}
}

const dayAgo, weekAgo, year = 24 * time.Hour, 7 * 24 * time.Hour, 365 * 24 * time.Hour

func with(y login.Try, f func(*login.Try)) login.Try { f(&y); return y }
func other(y *login.Try)                             { y.Entry = "dome 2" }
func unsent(y *login.Try)                            { y.Sent = 0 }
func ask(t *login.Target)                            { t.Asked = true }
func restart(t *login.Target)                        { t.Booted = noon.Add(-time.Hour) }

var recordCases = []struct {
	name   string
	change func(*login.Target)
	tries  []login.Try
	want   string
}{
	{"never tried", nil, nil, ""},
	{"accepted an hour ago", nil, []login.Try{past(time.Hour, login.Accepted)}, "one try in 24 hours"},
	{"accepted an hour ago, asked", ask, []login.Try{past(time.Hour, login.Accepted)}, "one try in 24 hours"},
	{"accepted a second less than a day ago", ask, []login.Try{past(dayAgo-time.Second, login.Accepted)}, "one try in 24 hours"},
	{"accepted a day ago", nil, []login.Try{past(dayAgo, login.Accepted)}, ""},
	{"refused a day ago", nil, []login.Try{past(dayAgo, login.Refused)}, "none follows"},
	{"refused a year ago", nil, []login.Try{past(year, login.Refused)}, "none follows"},
	{"refused a day ago, asked", ask, []login.Try{past(dayAgo, login.Refused)}, ""},
	{"refused an hour ago, asked", ask, []login.Try{past(time.Hour, login.Refused)}, "one try in 24 hours"},
	{"accepted, then refused", nil, []login.Try{past(dayAgo, login.Refused), past(weekAgo, login.Accepted)}, "none follows"},
	{"refused, then accepted", nil, []login.Try{past(weekAgo, login.Refused), past(dayAgo, login.Accepted)}, ""},
	{"no proof a week ago", nil, []login.Try{past(weekAgo, login.CannotTell)}, "none follows"},
	{"killed a week ago", nil, []login.Try{past(weekAgo, "")}, "without a known outcome"},
	{"killed an hour ago, asked", ask, []login.Try{with(past(time.Hour, ""), unsent)}, "one try in 24 hours"},
	{"firmware changed", func(t *login.Target) { t.Firmware = "1.1" }, []login.Try{past(weekAgo, login.Refused)}, ""},
	{"firmware changed an hour after", func(t *login.Target) { t.Firmware = "1.1" }, []login.Try{past(time.Hour, login.Refused)}, "one try in 24 hours"},
	{"firmware back to one that was tried", nil, []login.Try{past(2*weekAgo, login.Refused),
		with(past(weekAgo, login.Refused), func(y *login.Try) { y.Firmware = "1.1" })}, "none follows"},
	{"firmware not read now", func(t *login.Target) { t.Firmware = "" }, []login.Try{past(weekAgo, login.Refused)}, "none follows"},
	{"firmware not read then", nil, []login.Try{with(past(weekAgo, login.Refused), func(y *login.Try) { y.Firmware = "" })}, "none follows"},
	{"replaced", nil, []login.Try{with(past(weekAgo, login.Refused), func(y *login.Try) { y.MAC = mac99 })}, ""},
	{"its other MAC is no replacement", nil, []login.Try{with(past(weekAgo, login.Refused), func(y *login.Try) { y.MAC = mac32 })}, "none follows"},
	{"restarted", restart, []login.Try{past(weekAgo, login.Refused)}, ""},
	{"restarted before the try", nil, []login.Try{past(weekAgo, login.Refused)}, "none follows"},
	{"a start in the future", func(t *login.Target) { t.Booted = noon.Add(time.Hour) }, []login.Try{past(weekAgo, login.Refused)}, "none follows"},
	{"restarted a second time in 30 days", restart, []login.Try{with(past(weekAgo, login.Refused),
		func(y *login.Try) { y.Why = "the device restarted" })}, "none follows"},
	{"restarted again after 30 days", restart, []login.Try{with(past(30*dayAgo, login.Refused), func(y *login.Try) { y.Why = "the device restarted" })}, ""},
	{"locked a year ago", ask, []login.Try{past(year, login.Locked)}, "a person must clear it"},
	{"another account locked", ask, []login.Try{with(past(year, login.Locked), other)}, "a person must clear it"},
	{"a lock beside a success", ask, []login.Try{with(past(year, login.Accepted), func(y *login.Try) { y.Lock = "status 423" })}, "a person must clear it"},
	{"lock cleared", ask, []login.Try{with(past(weekAgo, login.Locked), func(y *login.Try) { y.Cleared = true })}, ""},
	{"lock cleared within the day", ask, []login.Try{with(past(time.Hour, login.Locked), func(y *login.Try) { y.Cleared = true })}, "one try in 24 hours"},
	{"lock cleared, not asked", nil, []login.Try{with(past(weekAgo, login.Locked), func(y *login.Try) { y.Cleared = true })}, "none follows"},
	{"another account refused an hour ago", ask, []login.Try{with(past(time.Hour, login.Refused), other)}, "another account"},
	{"another account killed an hour ago", ask, []login.Try{with(past(time.Hour, ""), other)}, "another account"},
	{"another account accepted an hour ago", ask, []login.Try{with(past(time.Hour, login.Accepted), other)}, ""},
	{"another account refused a day ago", nil, []login.Try{with(past(dayAgo, login.Refused), other)}, ""},
	{"nothing was sent an hour ago", nil, []login.Try{with(past(time.Hour, login.NotChecked), unsent)}, "one try in 24 hours"},
	{"nothing was sent an hour ago, asked", ask, []login.Try{with(past(time.Hour, login.NotChecked), unsent)}, ""},
	{"nothing was sent a day ago", nil, []login.Try{with(past(dayAgo, login.NotInitialised), unsent)}, ""},
	{"a try from next year", ask, []login.Try{past(-year, login.Accepted)}, "still to come"},
	{"another account's try from next year", ask, []login.Try{with(past(-year, login.Accepted), other)}, "still to come"},
	{"a try from next year, cleared", ask, []login.Try{with(past(-year, login.Refused), func(y *login.Try) { y.Cleared = true })}, ""},
	{"clock a second back", ask, []login.Try{past(-time.Second, login.Accepted)}, "one try in 24 hours"},
}

func TestGateOnRecord(t *testing.T) {
	for _, c := range recordCases {
		t.Run(c.name, func(t *testing.T) {
			target, seen := onQuay()
			if c.change != nil {
				c.change(&target)
			}
			sameDecision(t, login.Gate{}.Decide(noon, target, seen, c.tries), c.want)
		})
	}
}
