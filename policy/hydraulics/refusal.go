package hydraulics

import (
	"errors"
	"fmt"
)

// FieldError is one thing wrong with one key of what a site told: the shell
// adds file, line and column.
type FieldError struct {
	Field string // key of the site file below the thing that was validated, such as theta_s
	Text  string // what is wrong with the value; what was expected; what to do
}

// Error returns the field and the sentence.
func (e *FieldError) Error() string { return e.Field + ": " + e.Text }

// faults collects what is wrong, so that all of it is told at once.
type faults struct{ list []error }

// check records the sentence unless ok.
func (f *faults) check(ok bool, field, format string, args ...any) {
	if !ok {
		f.list = append(f.list, &FieldError{Field: field, Text: fmt.Sprintf(format, args...)})
	}
}

// add records the faults of a part, with its key before their fields.
func (f *faults) add(prefix string, err error) {
	if err == nil {
		return
	}
	for _, e := range FieldErrors(err) {
		f.list = append(f.list, &FieldError{Field: prefix + e.Field, Text: e.Text})
	}
}

func (f *faults) none() bool { return len(f.list) == 0 }

func (f *faults) err() error { return errors.Join(f.list...) }

// FieldErrors takes an error of this package's validations apart, in the order
// they were found. An error without a field comes back as one with an empty
// field.
func FieldErrors(err error) []*FieldError {
	if err == nil {
		return nil
	}
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []*FieldError
		for _, e := range joined.Unwrap() {
			all = append(all, FieldErrors(e)...)
		}
		return all
	}
	var fe *FieldError
	if errors.As(err, &fe) {
		return []*FieldError{fe}
	}
	return []*FieldError{{Text: err.Error()}}
}
