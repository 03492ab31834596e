package simnet

import (
	"bufio"
	"compress/gzip"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"strconv"
	"strings"

	"github.com/gosnmp/gosnmp"
)

const (
	maxRecordingLine = 256 << 10 // octets: more than a UDP answer can hold, even in hexadecimal
	maxBadLines      = 20        // that an error names
)

// ErrRecording is returned when lines of a recording cannot be read.
var ErrRecording = errors.New("bad recording")

// ReadRecording is LoadRecording on a file, unpacked if its name ends in .gz.
func ReadRecording(path string) ([]Row, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var r io.Reader = f
	if strings.HasSuffix(path, ".gz") {
		if r, err = gzip.NewReader(f); err != nil {
			return nil, fmt.Errorf("unpack %s: %w", path, err)
		}
	}
	rows, err := LoadRecording(r)
	if err != nil {
		err = fmt.Errorf("%s: %w", path, err)
	}
	return rows, err
}

// LoadRecording reads a recorded walk: one "OID|tag|value" a line, the tag the
// decimal BER tag, followed by x if the value is hexadecimal. Empty lines and
// lines that start with # are passed over. Rows come in the order of the lines.
// Lines that cannot be read are left out, and an error that wraps ErrRecording
// names them by number; the rows that could be read are returned beside it.
func LoadRecording(r io.Reader) ([]Row, error) {
	var rows []Row
	var bad []error
	seen := make(map[string]int)
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, maxRecordingLine)
	n := 0
	for sc.Scan() {
		n++
		line := strings.TrimSuffix(sc.Text(), "\r")
		if strings.TrimSpace(line) == "" || strings.HasPrefix(line, "#") {
			continue
		}
		row, err := parseRecord(line)
		if err == nil && seen[row.OID] > 0 {
			err = fmt.Errorf("%s stands in line %d already", row.OID, seen[row.OID])
		}
		if err != nil {
			bad = append(bad, fmt.Errorf("line %d: %w", n, err))
			continue
		}
		seen[row.OID] = n
		rows = append(rows, row)
	}
	if err := sc.Err(); err != nil {
		bad = append(bad, fmt.Errorf("line %d: %w", n+1, err))
	}
	if len(bad) == 0 {
		return rows, nil
	}
	if more := len(bad) - maxBadLines; more > 0 {
		bad = append(bad[:maxBadLines], fmt.Errorf("and %d more", more))
	}
	return rows, fmt.Errorf("%w: %w", ErrRecording, errors.Join(bad...))
}

func parseRecord(line string) (Row, error) {
	parts := strings.SplitN(line, "|", 3)
	if len(parts) != 3 {
		return Row{}, fmt.Errorf("%.60q: not OID|tag|value", line)
	}
	o, err := parseOID(parts[0])
	if err != nil {
		return Row{}, err
	}
	v, err := parseRecorded(parts[1], parts[2])
	if err != nil {
		return Row{}, fmt.Errorf("%.60s: %w", parts[0], err)
	}
	return Row{o.String(), v}, nil
}

func parseRecorded(tag, text string) (Value, error) {
	decimal, isHex := strings.CutSuffix(tag, "x")
	if isHex {
		raw, err := hex.DecodeString(text)
		if err != nil {
			return Value{}, fmt.Errorf("value: %w", err)
		}
		text = string(raw)
	}
	number, err := strconv.ParseUint(decimal, 10, 8)
	if err != nil {
		return Value{}, fmt.Errorf("tag %.20q: not a BER tag", tag)
	}
	switch kind := gosnmp.Asn1BER(number); {
	case kind == gosnmp.OctetString:
		return Text(text), nil
	case kind == gosnmp.Opaque:
		return Value{kind: kind, content: []byte(text), size: len(text)}, nil
	case kind == gosnmp.IPAddress:
		return recordedIP(text, isHex)
	case isHex:
		return Value{}, fmt.Errorf("tag %s: this type has no hexadecimal form", tag)
	case kind == gosnmp.Null:
		return Value{kind: kind}, nil
	case kind == gosnmp.ObjectIdentifier:
		v := OID(text)
		return v, v.err
	default:
		return recordedNumber(kind, text)
	}
}

func recordedIP(text string, isHex bool) (Value, error) {
	if isHex {
		if len(text) != 4 {
			return Value{}, fmt.Errorf("IpAddress of %d octets", len(text))
		}
		return IPAddress([4]byte([]byte(text))), nil
	}
	a, err := netip.ParseAddr(text)
	if err != nil || !a.Is4() {
		return Value{}, fmt.Errorf("%.60q: not an IPv4 address", text)
	}
	return IPAddress(a.As4()), nil
}

func recordedNumber(kind gosnmp.Asn1BER, text string) (Value, error) {
	switch kind {
	case gosnmp.Integer:
		n, err := strconv.ParseInt(text, 10, 32)
		return Integer(int32(n)), err
	case gosnmp.Counter32, gosnmp.Gauge32, gosnmp.TimeTicks:
		n, err := strconv.ParseUint(text, 10, 32)
		return unsigned(kind, uint32(n)), err
	case gosnmp.Counter64:
		n, err := strconv.ParseUint(text, 10, 64)
		return Counter64(n), err
	}
	return Value{}, fmt.Errorf("tag %d: not a type of SNMP (RFC 2578, section 2)", kind)
}
