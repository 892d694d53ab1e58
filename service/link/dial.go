package link

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

const (
	connectTimeout = 10 * time.Second
	readBuffer     = 64 << 10
)

// dial opens the connection that the broker's address asks for. Certificates
// are read anew each time, so that a renewed one needs no restart. Hold, if any,
// says to read nothing for now.
func (s Settings) dial(hold func() bool) mqtt.OpenConnectionFunc {
	return func(uri *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
		conn, err := s.open(uri)
		if err != nil {
			return nil, err
		}
		return newGuarded(conn, hold), nil
	}
}

func (s Settings) open(uri *url.URL) (net.Conn, error) {
	dialer := &net.Dialer{Timeout: connectTimeout}
	switch uri.Scheme {
	case "tcp", "mqtt":
		return dialer.Dial("tcp", withPort(uri.Host, "1883"))
	case "ssl", "tls", "mqtts":
		config, err := s.tls(uri.Hostname())
		if err != nil {
			return nil, err
		}
		return tls.DialWithDialer(dialer, "tcp", withPort(uri.Host, "8883"), config)
	case "ws":
		return mqtt.NewWebsocket(withoutUser(uri), nil, connectTimeout, nil, nil)
	case "wss":
		config, err := s.tls(uri.Hostname())
		if err != nil {
			return nil, err
		}
		return mqtt.NewWebsocket(withoutUser(uri), config, connectTimeout, nil, nil)
	}
	return nil, fmt.Errorf("broker %s: scheme %q is unknown; expected tcp, ssl, ws or wss", uri.Redacted(), uri.Scheme)
}

func withPort(host, port string) string {
	if _, _, err := net.SplitHostPort(host); err == nil {
		return host
	}
	return net.JoinHostPort(strings.Trim(host, "[]"), port)
}

func withoutUser(uri *url.URL) string {
	plain := *uri
	plain.User = nil
	return plain.String()
}

// checkFiles reports every file that is named and cannot be used.
func (s Settings) checkFiles() error {
	var errs []error
	if (s.CertFile == "") != (s.KeyFile == "") {
		errs = append(errs, errors.New("client certificate: one of certificate and key is set without the other; expected both, or neither; set RHIZOSTAT_CERT_FILE and RHIZOSTAT_KEY_FILE"))
	}
	for _, f := range []struct{ variable, path string }{
		{"RHIZOSTAT_PASSWORD_FILE", s.PasswordFile}, {"RHIZOSTAT_CA_FILE", s.CAFile}, {"RHIZOSTAT_CERT_FILE", s.CertFile}, {"RHIZOSTAT_KEY_FILE", s.KeyFile},
	} {
		if f.path == "" {
			continue
		}
		if _, err := os.ReadFile(f.path); err != nil {
			errs = append(errs, fmt.Errorf("%s: %w; expected a file that this user can read; correct the path or the file's mode", f.variable, err))
		}
	}
	if len(errs) == 0 {
		if _, err := s.tls(""); err != nil {
			errs = append(errs, fmt.Errorf("%w; see RHIZOSTAT_CA_FILE, RHIZOSTAT_CERT_FILE and RHIZOSTAT_KEY_FILE", err))
		}
	}
	return errors.Join(errs...)
}

func (s Settings) tls(server string) (*tls.Config, error) {
	config := &tls.Config{ServerName: server, MinVersion: tls.VersionTLS12}
	if s.CAFile != "" {
		pem, err := os.ReadFile(s.CAFile)
		if err != nil {
			return nil, fmt.Errorf("certificate authority: %w", err)
		}
		config.RootCAs = x509.NewCertPool()
		if !config.RootCAs.AppendCertsFromPEM(pem) {
			return nil, fmt.Errorf("certificate authority %s: no certificate in it; expected PEM", s.CAFile)
		}
	}
	if s.CertFile != "" || s.KeyFile != "" {
		pair, err := tls.LoadX509KeyPair(s.CertFile, s.KeyFile)
		if err != nil {
			return nil, fmt.Errorf("client certificate %s: %w", s.CertFile, err)
		}
		config.Certificates = []tls.Certificate{pair}
	}
	return config, nil
}

// password reads the password file anew at each connect.
func (s Settings) password() (string, error) {
	if s.PasswordFile == "" {
		return "", nil
	}
	data, err := os.ReadFile(s.PasswordFile)
	if err != nil {
		return "", fmt.Errorf("broker password: %w", err)
	}
	return strings.TrimRight(string(data), "\r\n"), nil
}
