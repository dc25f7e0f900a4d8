"""Writes the sample fields beside this file with VTK and NumPy, general-purpose libraries that
define or implement the formats.

u = 10 + x + 0.5 z, v = 20 - 2 y, w = 0.25 x y at x = 1 + 0.5 i (5 nodes), y = -1 + 0.25 j (4
nodes), z = 2 + k (2 nodes). Run with numpy and vtk installed (written with numpy 2.4, vtk 9.7):
python make.py
"""

import pathlib

import numpy as np
import vtk
from vtk.util.numpy_support import numpy_to_vtk

here = pathlib.Path(__file__).parent
z, y, x = np.meshgrid(2 + np.arange(2.0), -1 + 0.25 * np.arange(4), 1 + 0.5 * np.arange(5), indexing="ij")
u, v, w = 10 + x + 0.5 * z, 20 - 2 * y, 0.25 * x * y


def image(kind, with_scalars=True):
    image = vtk.vtkImageData()
    image.SetDimensions(5, 4, 2)
    image.SetOrigin(1, -1, 2)
    image.SetSpacing(0.5, 0.25, 1)
    if with_scalars:
        pressure = numpy_to_vtk(np.arange(40.0).astype(kind), deep=True)
        pressure.SetName("pressure")
        image.GetPointData().SetScalars(pressure)
    vectors = numpy_to_vtk(np.stack([u, v, w], -1).reshape(-1, 3).astype(kind), deep=True)
    vectors.SetName("velocity")
    image.GetPointData().AddArray(vectors)
    image.GetPointData().SetActiveVectors("velocity")
    return image


def write(writer, name, kind, **settings):
    writer.SetInputData(image(kind, settings.pop("scalars", True)))
    writer.SetFileName(str(here / name))
    for setting, value in settings.items():
        getattr(writer, setting)(*value)
    writer.Write()


for name, kind, file_type in [("ascii.vtk", np.float64, 1), ("binary.vtk", np.float32, 2)]:
    write(vtk.vtkStructuredPointsWriter(), name, kind, SetFileType=(file_type,))
for name, mode, encode, kind, header in [
    ("ascii.vti", "SetDataModeToAscii", 0, np.float64, "SetHeaderTypeToUInt32"),
    ("inline.vti", "SetDataModeToBinary", 0, np.float32, "SetHeaderTypeToUInt32"),
    ("inline64.vti", "SetDataModeToBinary", 0, np.float64, "SetHeaderTypeToUInt64"),
    ("appended.vti", "SetDataModeToAppended", 1, np.float64, "SetHeaderTypeToUInt64"),
    ("raw.vti", "SetDataModeToAppended", 0, np.float32, "SetHeaderTypeToUInt32"),
]:
    settings = {mode: (), "SetEncodeAppendedData": (encode,), "SetCompressorTypeToNone": (), header: ()}
    write(vtk.vtkXMLImageDataWriter(), name, kind, **settings)
write(vtk.vtkXMLImageDataWriter(), "compressed.vti", np.float64, SetDataModeToAppended=())
write(vtk.vtkXMLImageDataWriter(), "lz4.vti", np.float64, SetCompressorTypeToLZ4=())
settings = {"SetEncodeAppendedData": (0,), "SetBlockSize": (256,)}
write(vtk.vtkXMLImageDataWriter(), "compressed_raw.vti", np.float64, **settings)
write(vtk.vtkXMLImageDataWriter(), "compressed_inline.vti", np.float32, SetDataModeToBinary=())


def rectilinear():
    """The plane z = 2 of the same field on its coordinates."""
    grid = vtk.vtkRectilinearGrid()
    grid.SetDimensions(5, 4, 1)
    for set_coordinates, places in [
        (grid.SetXCoordinates, x[0, 0]),
        (grid.SetYCoordinates, y[0, :, 0]),
        (grid.SetZCoordinates, [2.0]),
    ]:
        set_coordinates(numpy_to_vtk(np.array(places), deep=True))
    vectors = numpy_to_vtk(np.stack([u[0], v[0], w[0]], -1).reshape(-1, 3), deep=True)
    vectors.SetName("velocity")
    grid.GetPointData().AddArray(vectors)
    return grid


def cylinder():
    """Potential flow around a cylinder of radius 10 on quadrilaterals around it and a triangle in
    one of them: u - iv = 1 - (10/zeta)^2 at 24 angles and radii of 10 to 60."""
    radius, angle = np.meshgrid([10, 12, 15, 20, 30, 60], np.arange(24) * np.pi / 12, indexing="ij")
    place = (radius * np.exp(1j * angle)).ravel()
    points, cells = vtk.vtkPoints(), vtk.vtkUnstructuredGrid()
    points.SetDataTypeToDouble()
    for p in place:
        points.InsertNextPoint(p.real, p.imag, 0)
    cells.SetPoints(points)
    for ring in range(5):
        for k in range(24):
            corners = [24 * ring + k, 24 * ring + (k + 1) % 24, 24 * ring + 24 + (k + 1) % 24, 24 * ring + 24 + k]
            if (ring, k) == (0, 0):
                cells.InsertNextCell(vtk.VTK_TRIANGLE, 3, corners[:3])
                cells.InsertNextCell(vtk.VTK_TRIANGLE, 3, [corners[0], corners[2], corners[3]])
            else:
                cells.InsertNextCell(vtk.VTK_QUAD, 4, corners)
    motion = 1 - (10 / place) ** 2
    vectors = numpy_to_vtk(np.stack([motion.real, -motion.imag, 0 * motion.real], -1), deep=True)
    vectors.SetName("velocity")
    cells.GetPointData().AddArray(vectors)
    return cells


def save(writer, data, name, **settings):
    writer.SetInputData(data)
    writer.SetFileName(str(here / name))
    for setting, value in settings.items():
        getattr(writer, setting)(*value)
    writer.Write()


save(vtk.vtkXMLRectilinearGridWriter(), rectilinear(), "plane.vtr")
save(vtk.vtkXMLUnstructuredGridWriter(), cylinder(), "cylinder.vtu")
save(vtk.vtkXMLUnstructuredGridWriter(), cylinder(), "cylinder_raw.vtu", SetEncodeAppendedData=(0,))
save(vtk.vtkXMLUnstructuredGridWriter(), cylinder(), "cylinder_ascii.vtu", SetDataModeToAscii=())
save(vtk.vtkUnstructuredGridWriter(), cylinder(), "cylinder.vtk")
save(vtk.vtkUnstructuredGridWriter(), cylinder(), "cylinder_binary.vtk", SetFileType=(2,))
save(vtk.vtkUnstructuredGridWriter(), cylinder(), "cylinder_42.vtk", SetFileVersion=(42,), SetFileType=(2,))

np.save(here / "depth.npy", np.stack([u, v, w]))
np.save(here / "plane.npy", np.stack([u[0], v[0]]).astype(np.float32))
np.save(here / "big_endian.npy", np.stack([u[0], v[0]]).astype(">f8"))
np.save(here / "fortran.npy", np.asfortranarray(np.stack([u[0], v[0]])))
np.save(here / "integer.npy", np.ones((2, 4, 5), int))
