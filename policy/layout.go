package policy

import (
	"encoding/binary"
	"errors"
	"fmt"
	"reflect"
	"unsafe"
)

// The memory of a zone is plain data: numbers, in structs, arrays and slices of one for
// each probe. It is laid out field by field, little endian, as encoding/binary does it,
// which takes no slices: before one stands its length, a byte.

// layout is how a T is laid out, worked out once: a facility's zones are written every few
// minutes and read one after the other at a start, and asking each of their thousands of
// numbers for its kind would be most of that.
type layout[T any] struct{ runs runs }

// runs are the parts of a type in their order.
type runs []run

// run is so many numbers of a size, bytes, next to each other; or one slice.
type run struct {
	at    uintptr // from the beginning
	size  int
	n     int
	truth bool         // they are bools
	slice reflect.Type // nil: it is none
	each  runs         // of its elements
}

// layoutOf works out a layout. A kind that it does not know is a mistake in the program
// and panics.
func layoutOf[T any]() *layout[T] {
	return &layout[T]{runsOf(nil, reflect.TypeFor[T](), 0)}
}

func runsOf(to runs, t reflect.Type, at uintptr) runs {
	switch t.Kind() {
	case reflect.Struct:
		for i := range t.NumField() {
			to = runsOf(to, t.Field(i).Type, at+t.Field(i).Offset)
		}
	case reflect.Array:
		for i := range t.Len() {
			to = runsOf(to, t.Elem(), at+uintptr(i)*t.Elem().Size())
		}
	case reflect.Slice:
		to = append(to, run{at: at, slice: t, each: runsOf(nil, t.Elem(), 0)})
	case reflect.Bool, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64,
		reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64, reflect.Float32, reflect.Float64:
		next := run{at: at, size: int(t.Size()), n: 1, truth: t.Kind() == reflect.Bool}
		if last := len(to) - 1; last >= 0 && to[last].goesOn(&next) {
			to[last].n++
			break
		}
		to = append(to, next)
	default:
		panic(fmt.Sprintf("layout: %s is no plain data; expected numbers of a fixed size, structs, arrays and slices of them", t))
	}
	return to
}

// goesOn tells whether the next number belongs to a run.
func (r *run) goesOn(next *run) bool {
	return r.slice == nil && r.size == next.size && r.truth == next.truth && r.at+uintptr(r.n*r.size) == next.at
}

// append appends what v holds.
func (l *layout[T]) append(dst []byte, v *T) []byte { return l.runs.append(dst, unsafe.Pointer(v)) }

func (rs runs) append(dst []byte, from unsafe.Pointer) []byte {
	for i := range rs {
		r := &rs[i]
		p := unsafe.Add(from, r.at)
		switch {
		case r.slice != nil:
			v := reflect.NewAt(r.slice, p).Elem()
			dst = append(dst, uint8(v.Len()))
			for k := range v.Len() {
				dst = r.each.append(dst, unsafe.Add(v.UnsafePointer(), uintptr(k)*r.slice.Elem().Size()))
			}
		case r.size == 1:
			dst = append(dst, unsafe.Slice((*uint8)(p), r.n)...)
		case r.size == 2:
			for _, bits := range unsafe.Slice((*uint16)(p), r.n) {
				dst = binary.LittleEndian.AppendUint16(dst, bits)
			}
		case r.size == 4:
			for _, bits := range unsafe.Slice((*uint32)(p), r.n) {
				dst = binary.LittleEndian.AppendUint32(dst, bits)
			}
		default:
			for _, bits := range unsafe.Slice((*uint64)(p), r.n) {
				dst = binary.LittleEndian.AppendUint64(dst, bits)
			}
		}
	}
	return dst
}

var errShort = errors.New("it ends too early: unexpected EOF")

// read sets v to what append has appended and returns what follows. It refuses data that
// ends too early, and a slice of more than MaxProbes; v is then partly set.
func (l *layout[T]) read(src []byte, v *T) ([]byte, error) {
	return l.runs.read(src, unsafe.Pointer(v))
}

func (rs runs) read(src []byte, to unsafe.Pointer) ([]byte, error) {
	for i := range rs {
		r := &rs[i]
		p := unsafe.Add(to, r.at)
		if r.slice != nil {
			var err error
			if src, err = r.readSlice(src, reflect.NewAt(r.slice, p).Elem()); err != nil {
				return src, err
			}
			continue
		}
		if len(src) < r.n*r.size {
			return src, errShort
		}
		r.set(src, p)
		src = src[r.n*r.size:]
	}
	return src, nil
}

// set sets the numbers of a run to what src begins with.
func (r *run) set(src []byte, p unsafe.Pointer) {
	switch {
	case r.truth: // a bool of another byte than 0 or 1 would be neither
		for k, to := 0, unsafe.Slice((*bool)(p), r.n); k < r.n; k++ {
			to[k] = src[k] != 0
		}
	case r.size == 1:
		copy(unsafe.Slice((*uint8)(p), r.n), src)
	case r.size == 2:
		for k, to := 0, unsafe.Slice((*uint16)(p), r.n); k < r.n; k++ {
			to[k] = binary.LittleEndian.Uint16(src[2*k:])
		}
	case r.size == 4:
		for k, to := 0, unsafe.Slice((*uint32)(p), r.n); k < r.n; k++ {
			to[k] = binary.LittleEndian.Uint32(src[4*k:])
		}
	default:
		for k, to := 0, unsafe.Slice((*uint64)(p), r.n); k < r.n; k++ {
			to[k] = binary.LittleEndian.Uint64(src[8*k:])
		}
	}
}

func (r *run) readSlice(src []byte, v reflect.Value) ([]byte, error) {
	if len(src) == 0 {
		return nil, errShort
	}
	n := int(src[0])
	if n > MaxProbes {
		return nil, fmt.Errorf("it says %d of a thing that is kept for each probe; at most %d are read", n, MaxProbes)
	}
	v.SetZero()
	if n > 0 {
		v.Set(reflect.MakeSlice(v.Type(), n, n))
	}
	src = src[1:]
	for k := range n {
		var err error
		if src, err = r.each.read(src, unsafe.Add(v.UnsafePointer(), uintptr(k)*v.Type().Elem().Size())); err != nil {
			return src, err
		}
	}
	return src, nil
}
