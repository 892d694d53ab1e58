// Package climate turns what the air and the light are into what they ask of a
// crop: vapour pressure and its deficit, the sun's course, light in the units
// of plants and of physics, reference evapotranspiration, and the shape of the
// demand that the learned uptake is scaled from.
//
// Temperatures are Celsius, vapour pressures kPa, instantaneous radiation W/m2,
// radiation of a day or an hour MJ/m2. The way in is [Rate]; the open-field
// reference evapotranspiration is there to check against, since a greenhouse
// has no wind at 2 m to put into it.
//
// FAO-56 stands for Allen, Pereira, Raes & Smith (1998), FAO Irrigation and
// Drainage Paper 56; its equation numbers are given as Eq.
package climate
