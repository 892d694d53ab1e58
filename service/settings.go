package service

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"reflect"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/caarlos0/env/v11"
)

// Settings are the daemon's, read from the environment.
type Settings struct {
	Broker       string        `env:"RHIZOSTAT_BROKER" envDefault:"tcp://localhost:1883"`
	ClientID     string        `env:"RHIZOSTAT_CLIENT_ID" envDefault:"rhizostat"`
	Username     string        `env:"RHIZOSTAT_USERNAME"`
	PasswordFile string        `env:"RHIZOSTAT_PASSWORD_FILE"`
	CAFile       string        `env:"RHIZOSTAT_CA_FILE"`
	CertFile     string        `env:"RHIZOSTAT_CERT_FILE"`
	KeyFile      string        `env:"RHIZOSTAT_KEY_FILE"`
	TopicRoot    string        `env:"RHIZOSTAT_TOPIC_ROOT" envDefault:"rhizostat"`
	Sites        string        `env:"RHIZOSTAT_SITES" envDefault:"site.yaml"`
	Ledger       string        `env:"RHIZOSTAT_LEDGER" envDefault:"rhizostat.db"`
	HTTP         string        `env:"RHIZOSTAT_HTTP" envDefault:":9187"`
	Clock        string        `env:"RHIZOSTAT_CLOCK" envDefault:"wall"`
	StateEvery   time.Duration `env:"RHIZOSTAT_STATE_EVERY" envDefault:"1m"`
	LogLevel     string        `env:"RHIZOSTAT_LOG_LEVEL" envDefault:"info"`
	LogFormat    string        `env:"RHIZOSTAT_LOG_FORMAT" envDefault:"text"`
	Standby      bool          `env:"RHIZOSTAT_STANDBY" envDefault:"false"`
}

// Variable describes one environment variable for people.
type Variable struct {
	Name, Default, What string
}

// Variables are all that the daemon reads, in the order of its settings.
var Variables = []Variable{
	{"RHIZOSTAT_BROKER", "tcp://localhost:1883", "the MQTT broker: tcp://, ssl://, ws:// or wss://"},
	{"RHIZOSTAT_CLIENT_ID", "rhizostat", "MQTT client id; each session adds its own ending"},
	{"RHIZOSTAT_USERNAME", "", "MQTT user name"},
	{"RHIZOSTAT_PASSWORD_FILE", "", "file with the MQTT password, read at each connect"},
	{"RHIZOSTAT_CA_FILE", "", "PEM file of the certificate authority that the broker's certificate must come from"},
	{"RHIZOSTAT_CERT_FILE", "", "PEM file of the client certificate"},
	{"RHIZOSTAT_KEY_FILE", "", "PEM file of the client certificate's key"},
	{"RHIZOSTAT_TOPIC_ROOT", "rhizostat", "first level of our topics"},
	{"RHIZOSTAT_SITES", "site.yaml", "site files: a file, a folder or a glob"},
	{"RHIZOSTAT_LEDGER", "rhizostat.db", "path of the ledger"},
	{"RHIZOSTAT_HTTP", ":9187", "address of /metrics, /healthz and /readyz"},
	{"RHIZOSTAT_CLOCK", "wall", "wall, or telemetry: time advances with the stamps of the accepted telemetry"},
	{"RHIZOSTAT_STATE_EVERY", "1m", "how often the state of a zone is published, in its engine time"},
	{"RHIZOSTAT_LOG_LEVEL", "info", "debug, info, warn or error"},
	{"RHIZOSTAT_LOG_FORMAT", "text", "text or json"},
	{"RHIZOSTAT_STANDBY", "false", "true: wait for another daemon's end instead of refusing to start beside it"},
}

// SettingsFromEnvironment reads the settings from lines of the form NAME=value.
// Every mistake comes at once: a value that cannot be, and a RHIZOSTAT_ name
// that does not exist.
func SettingsFromEnvironment(environ []string) (Settings, error) {
	vars := env.ToMap(environ)
	var s Settings
	var errs []error
	if err := env.ParseWithOptions(&s, env.Options{Environment: vars}); err != nil {
		var all env.AggregateError
		if errors.As(err, &all) {
			for _, e := range all.Errors {
				errs = append(errs, unreadable(e, vars))
			}
		} else {
			errs = append(errs, fmt.Errorf("environment: %w", err))
		}
	}
	for _, err := range s.check() { // what could not be read has no value that could be wrong
		if !slices.ContainsFunc(errs, func(read error) bool { return aboutTheSame(read, err) }) {
			errs = append(errs, err)
		}
	}
	errs = append(errs, unknownNames(vars)...)
	return s, errors.Join(errs...)
}

// aboutTheSame tells whether two mistakes are of one variable: each begins with
// "environment: NAME: ".
func aboutTheSame(a, b error) bool {
	name := func(err error) string { return strings.SplitN(err.Error(), ": ", 3)[1] }
	return name(a) == name(b)
}

// unreadable tells of a value that is not of its kind, by the variable's name:
// the library tells of fields of ours, which nobody typed.
func unreadable(err error, vars map[string]string) error {
	var p env.ParseError
	if !errors.As(err, &p) {
		return fmt.Errorf("environment: %w", err)
	}
	field, ok := reflect.TypeFor[Settings]().FieldByName(p.Name)
	if !ok {
		return fmt.Errorf("environment: %w", err)
	}
	name, expected := field.Tag.Get("env"), "true or false"
	if field.Type == reflect.TypeFor[time.Duration]() {
		expected = "a duration such as 30s, 5m or 1h"
	}
	return fmt.Errorf("environment: %s: %q cannot be read; expected %s", name, vars[name], expected)
}

// unknownNames finds misspelt variables, which would otherwise be silently
// without effect.
func unknownNames(vars map[string]string) []error {
	known := map[string]bool{}
	for _, v := range Variables {
		known[v.Name] = true
	}
	var names []string
	for name := range vars {
		if strings.HasPrefix(name, "RHIZOSTAT_") && !known[name] && !injected(name) {
			names = append(names, name)
		}
	}
	sort.Strings(names)
	var errs []error
	for _, name := range names {
		errs = append(errs, fmt.Errorf("environment: %s is unknown; expected one of the names that `rhizostat run --help` lists; correct or unset it", name))
	}
	return errs
}

// injected reports whether a name is of those that Kubernetes sets in every
// container beside a Service called rhizostat, as it does beside any: nobody
// wrote them, and they mean nothing to us.
func injected(name string) bool {
	return name == "RHIZOSTAT_PORT" || strings.HasPrefix(name, "RHIZOSTAT_PORT_") || strings.HasPrefix(name, "RHIZOSTAT_SERVICE_")
}

func (s *Settings) check() []error {
	var errs []error
	if s.Clock != "wall" && s.Clock != "telemetry" {
		errs = append(errs, fmt.Errorf("environment: RHIZOSTAT_CLOCK: %q is unknown; expected wall or telemetry", s.Clock))
	}
	if err := CheckStateEvery(s.StateEvery); err != nil {
		errs = append(errs, fmt.Errorf("environment: RHIZOSTAT_STATE_EVERY: %w", err))
	}
	if s.TopicRoot == "" || strings.ContainsAny(s.TopicRoot, "+#") || strings.HasPrefix(s.TopicRoot, "/") || strings.HasSuffix(s.TopicRoot, "/") || strings.HasPrefix(s.TopicRoot, "$") {
		errs = append(errs, fmt.Errorf("environment: RHIZOSTAT_TOPIC_ROOT: %q cannot begin topics; expected one or more levels without wildcards, like rhizostat", s.TopicRoot))
	}
	if _, err := s.level(); err != nil {
		errs = append(errs, err)
	}
	if s.LogFormat != "text" && s.LogFormat != "json" {
		errs = append(errs, fmt.Errorf("environment: RHIZOSTAT_LOG_FORMAT: %q is unknown; expected text or json", s.LogFormat))
	}
	return errs
}

// CheckStateEvery reports a time between two states that a zone cannot keep.
func CheckStateEvery(every time.Duration) error {
	if every < time.Second || every > time.Hour {
		return fmt.Errorf("%s is out of range; expected from 1s to 1h", every)
	}
	return nil
}

func (s *Settings) level() (slog.Level, error) {
	var level slog.Level
	if err := level.UnmarshalText([]byte(s.LogLevel)); err != nil {
		return 0, fmt.Errorf("environment: RHIZOSTAT_LOG_LEVEL: %q is unknown; expected debug, info, warn or error", s.LogLevel)
	}
	return level, nil
}

// Logger makes the daemon's log, on w.
func (s *Settings) Logger(w io.Writer) (*slog.Logger, error) {
	level, err := s.level()
	if err != nil {
		return nil, err
	}
	options := &slog.HandlerOptions{Level: level}
	if s.LogFormat == "json" {
		return slog.New(slog.NewJSONHandler(w, options)), nil
	}
	return slog.New(slog.NewTextHandler(w, options)), nil
}
