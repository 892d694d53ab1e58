// Package hydraulics is the physics of a container: how much water and air a
// substrate of a given retention holds at each depth of a pot of a given shape,
// when its roots lack air, and the band that follows.
//
// The words: the retention curve ties water content to suction; the profile is
// the water content by height when the water hangs in balance, so that suction
// grows by one centimetre of water per centimetre of height; the bottom suction
// is the suction at height 0. A container that was soaked and has drained freely
// has bottom suction 0: its mean water content is the container capacity. Below
// capacity the bottom suction is above 0; above it, just after a shot, it is
// below 0 and the lowest -suction centimetres are filled with water.
//
// Start at [NewProfile]: it builds the tables of one kind of zone (substrate,
// container) once. A Profile and a ProbeTable never change afterwards, so many
// zones and goroutines may share them; their look-ups allocate nothing.
//
// Units: water contents, porosities and shares are per volume, 0 to 1; heights
// and lengths cm; volumes mL; suctions kPa, positive when the water is held.
package hydraulics
