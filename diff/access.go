package diff

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"boundwalk/inventory"
)

// access reports factory accounts, default communities, devices that were never
// set up, and management without encryption. No secret is in any of it.
func (a *auditor) access() {
	for _, name := range a.names {
		if !a.covered[name] {
			a.logins(a.planned[name])
		}
	}
	a.openDoors()
	a.weakSNMP()
}

// results are all checks of a device that are known, newest first.
func (a *auditor) results(device string) []inventory.LoginResult {
	var out []inventory.LoginResult
	for _, r := range append(slices.Clone(a.snap.Logins), a.hist.Logins[device]...) {
		if r.Device == device && !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(x, y inventory.LoginResult) int { return y.When.Compare(x.When) })
	return out
}

// logins judges each entry by its newest check that had an outcome: "not
// checked" and "cannot tell" change nothing.
func (a *auditor) logins(d *inventory.Device) {
	all := a.results(d.Name)
	judged := map[string]bool{}
	for _, r := range all {
		entry := r.Over + " " + r.Entry
		switch r.Outcome {
		case inventory.LoginAccepted, inventory.LoginRefused, inventory.LoginUnset, inventory.LoginCommunity:
		default:
			continue
		}
		if judged[entry] {
			continue
		}
		judged[entry] = true
		a.loginFinding(d, r)
	}
	a.fingerprints(d, all)
}

func (a *auditor) loginFinding(d *inventory.Device, r inventory.LoginResult) {
	var f Finding
	switch {
	case r.Outcome == inventory.LoginCommunity, r.Outcome == inventory.LoginAccepted && r.Over == "snmp":
		f = New(DefaultCommunity, d.Name)
		f.Expected = "no answer to a default community"
		f.Observed = fmt.Sprintf("it answers to %s, checked %s", cmp.Or(entryWords(r.Entry), "one"), a.when(r.When))
		f.Advice = "set a community of your own, or SNMPv3, and let only this machine ask"
	case r.Outcome == inventory.LoginAccepted && d.FactoryLogin != nil:
		f = New(FactoryLogin, d.Name)
		f.Expected = "its factory account refused"
		f.Observed = fmt.Sprintf("accepted over %s (%s), checked %s", cmp.Or(r.Over, d.FactoryLogin.Over),
			cmp.Or(entryWords(r.Entry), "the plan's account"), a.when(r.When))
		f.Advice = "give it a password of its own, then let boundwalk check again"
	case r.Outcome == inventory.LoginUnset:
		f = New(NotInitialised, d.Name)
		f.Expected = "set up, with a password of its own"
		f.Observed = fmt.Sprintf("it asks to be set up, checked %s", a.when(r.When))
		f.Advice = "set it up before it stays on the network: until then anyone may"
	default:
		return
	}
	f.Where = d.At.String()
	a.add(f, d)
}

func entryWords(entry string) string {
	if entry == "" {
		return ""
	}
	return "entry " + inventory.Clean(entry)
}

// fingerprints notes, for a week, a certificate or host key other than the one
// seen before over the same protocol.
func (a *auditor) fingerprints(d *inventory.Device, all []inventory.LoginResult) {
	newest := map[string]inventory.LoginResult{}
	for _, r := range all {
		if r.Fingerprint == "" {
			continue
		}
		now, ok := newest[r.Over]
		if !ok {
			newest[r.Over] = r
			if was := a.hist.Prints[d.Name+" "+r.Over]; was != "" && was != r.Fingerprint {
				a.certificate(d, r)
				return
			}
			continue
		}
		if now.Fingerprint != r.Fingerprint && a.now.Sub(now.When) <= 7*aDay {
			a.certificate(d, now)
			return
		}
	}
}

func (a *auditor) certificate(d *inventory.Device, r inventory.LoginResult) {
	f := New(CertificateChanged, d.Name)
	f.Where = d.At.String()
	f.Expected = "the certificate or host key seen before"
	f.Observed = fmt.Sprintf("another over %s, seen %s", r.Over, a.when(r.When))
	f.Advice = "if you neither reset it nor changed its firmware, see whether another device answers in its stead"
	a.add(f, d)
}

// openDoors counts management without encryption in one line: telnet, and the
// web without TLS where nothing with TLS is offered.
func (a *auditor) openDoors() {
	kinds := map[string]map[string]bool{}
	for _, door := range a.snap.Doors {
		if a.planned[door.Device] == nil {
			continue
		}
		kind := door.Kind
		if kind == "" {
			kind = map[uint16]string{23: "telnet", 80: "http", 443: "https"}[door.Port]
		}
		if kinds[kind] == nil {
			kinds[kind] = map[string]bool{}
		}
		kinds[kind][door.Device] = true
	}
	var counts []string
	all := map[string]bool{}
	for _, k := range []struct{ kind, words string }{{"telnet", "telnet"}, {"http", "a web page without TLS"}} {
		n := 0
		for device := range kinds[k.kind] {
			if k.kind == "http" && kinds["https"][device] {
				continue
			}
			n++
			all[device] = true
		}
		if n > 0 {
			counts = append(counts, fmt.Sprintf("%s at %d", k.words, n))
		}
	}
	if len(counts) == 0 {
		return
	}
	f := New(UnencryptedManagement, Plural(len(all), "device", "devices"))
	f.Key = string(UnencryptedManagement) + "/site" // the count moves, the finding stays
	f.Expected = "management over ssh or https"
	f.Observed = strings.Join(counts, ", ") + ": " + names(slices.Collect(maps.Keys(all)))
	f.Advice = "switch these doors off where the device offers a better one"
	a.add(f, nil)
}

// weakSNMP notes weak algorithms of each v3 agent, and in one line all that are
// asked in clear text.
func (a *auditor) weakSNMP() {
	var clear []string
	for _, name := range a.names {
		d, ag := a.planned[name], a.agents[name]
		if ag == nil || len(ag.Weak) == 0 || a.covered[name] {
			continue
		}
		if ag.Version != "v3" {
			clear = append(clear, name)
			continue
		}
		f := New(WeakSNMP, name)
		f.Where = d.At.String()
		f.Expected = "SHA-2 authentication and AES privacy, with a secret each"
		f.Observed = cmp.Or(sentence(slices.Clone(ag.Weak)...), "weak algorithms")
		f.Advice = "set stronger algorithms at the device and in the plan"
		a.add(f, d)
	}
	if len(clear) == 0 {
		return
	}
	f := New(WeakSNMP, Plural(len(clear), "agent", "agents"))
	f.Key = string(WeakSNMP) + "/site"
	f.Expected = "SNMPv3 where the device offers it"
	f.Observed = "v1 or v2c, which send the community and all values in clear text: " + names(clear)
	f.Advice = "use v3 where it is offered; else see that only this machine may ask"
	a.add(f, nil)
}
