package policy

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
)

// The memory of a zone is plain data: numbers, in structs, arrays and slices of one for
// each probe. It is laid out field by field, little endian, as encoding/binary does it,
// which takes no slices: before one stands its length, a byte.

// appendPlain appends what v holds. A kind that it does not know is a mistake in the
// program and panics.
func appendPlain(dst []byte, v reflect.Value) []byte {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			dst = appendPlain(dst, v.Field(i))
		}
	case reflect.Slice:
		dst = appendElements(append(dst, uint8(v.Len())), v)
	case reflect.Array:
		dst = appendElements(dst, v)
	case reflect.Bool:
		b := uint8(0)
		if v.Bool() {
			b = 1
		}
		dst = append(dst, b)
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		dst = appendNumber(dst, uint64(v.Int()), int(v.Type().Size()))
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		dst = appendNumber(dst, v.Uint(), int(v.Type().Size()))
	case reflect.Float32:
		dst = binary.LittleEndian.AppendUint32(dst, math.Float32bits(float32(v.Float())))
	case reflect.Float64:
		dst = binary.LittleEndian.AppendUint64(dst, math.Float64bits(v.Float()))
	default:
		panic(fmt.Sprintf("layout: %s is no plain data; expected numbers of a fixed size, structs, arrays and slices of them", v.Type()))
	}
	return dst
}

func appendElements(dst []byte, v reflect.Value) []byte {
	for i := range v.Len() {
		dst = appendPlain(dst, v.Index(i))
	}
	return dst
}

func appendNumber(dst []byte, bits uint64, size int) []byte {
	for range size {
		dst = append(dst, byte(bits))
		bits >>= 8
	}
	return dst
}

var errShort = errors.New("it ends too early: unexpected EOF")

// readPlain sets v to what appendPlain has appended and returns what follows. It refuses
// data that ends too early, and a slice of more than MaxProbes.
func readPlain(src []byte, v reflect.Value) ([]byte, error) {
	switch v.Kind() {
	case reflect.Struct:
		var err error
		for i := 0; i < v.NumField() && err == nil; i++ {
			src, err = readPlain(src, v.Field(i))
		}
		return src, err
	case reflect.Slice:
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
		return readElements(src[1:], v)
	case reflect.Array:
		return readElements(src, v)
	}
	size := int(v.Type().Size())
	if len(src) < size {
		return nil, errShort
	}
	bits := uint64(0)
	for i := range size {
		bits |= uint64(src[i]) << (8 * i)
	}
	switch v.Kind() {
	case reflect.Bool:
		v.SetBool(bits != 0)
	case reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		unused := 64 - 8*size
		v.SetInt(int64(bits<<unused) >> unused) // with its sign
	case reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		v.SetUint(bits)
	case reflect.Float32:
		v.SetFloat(float64(math.Float32frombits(uint32(bits))))
	case reflect.Float64:
		v.SetFloat(math.Float64frombits(bits))
	default:
		panic(fmt.Sprintf("layout: %s is no plain data; expected numbers of a fixed size, structs, arrays and slices of them", v.Type()))
	}
	return src[size:], nil
}

func readElements(src []byte, v reflect.Value) ([]byte, error) {
	var err error
	for i := 0; i < v.Len() && err == nil; i++ {
		src, err = readPlain(src, v.Index(i))
	}
	return src, err
}
