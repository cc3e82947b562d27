"""The memory that the compiled loops work in: what lies where, and functions that find it.

Everything lives in five arrays, which every loop takes last and in this order. Passing
two dozen arrays, singly or in a tuple, costs more than a small overlap test (a factor of
three to eight on the whole search was measured), so tables are rows in flat arrays and are
found through the offsets at the head of ``I``. Functions that find and name what a row holds
cost nothing once compiled; :mod:`nest.place.shapes` is the one that writes the shared arrays.

Lengths are mm, angles rad. Numbers that are counts or offsets are told as such.

``I`` int64, shared
    The head, see the ``N_`` (counts) and ``AT_`` (offsets of tables) names; then the tables

    * kinds: the type of each part;
    * types, rows of 6: first piece, pieces, first region, regions, first angle, angles
      (0: any angle within the window);
    * pieces, rows of 3: offset of the corners in M, corners, corners of the type before;
    * regions, rows of 5: ground, first piece, pieces, offset of its circles in M, circles;
    * bins, (grounds, rows, columns + 1): position in I of a cell's first edge;
      the lists of edges (offsets in M) follow;
    * cells of pairs of listed angles: offset in M where each one starts, and an end.
``M`` float64, shared
    * types, rows of 4: 4th root of the area, reach (farthest corner from the origin),
      window and axis;
    * corners, per piece the columns x, y; outward normal of the edge that starts there;
      support, the largest normal · corner over the piece. Their number is a multiple of
      LANES, the last one is repeated. Then centre x, y and radius of a circle round it;
    * circles, per region rows of 3, centre x, y and radius: one round the region; its own,
      inside it, largest first. Between the two the radius at which its own circles cover it;
    * angles, rows of 6: cosine and sine of a listed angle, box of the type at that angle;
    * pairs, rows of 6: box of the displacements of b from a at which one piece of a meets one
      of b, and offsets in M of the first of their planes and the one after the last;
    * planes, rows of 3: normal and offset; pieces meet where offset - normal · d > 0;
    * cells, see :func:`nest.place.kernels.listed.cells_of`;
    * grids, (angles, angles) rows of 9, for a <= b: first corner of the grid over the
      displacements of b from a; inverse size of its cells; last column and row; where the
      cells begin in I; offsets in M of their first pair of pieces and the one after the last;
    * edges of the grounds, rows of 7: x0, y0, x1, y1, unit normal, normal · point;
    * stretch, (rows, columns, 2): cosine and sine of twice the direction of least stretch.
``G`` float32 (grounds, rows, columns), shared
    Distance to the ground's edge at grid nodes, positive inside; the sign is exact, the
    size good to GRID_SLACK cells once interpolated.
``S`` float64, one per worker
    The parameters, see the ``F_`` names; then the tables

    * poses, rows of 11: box x0, y0, x1, y1; x, y, turn, flip (or number of the listed
      angle among those of the type); cosine and sine of the angle; number of the listed angle.
      One row per part, the last is the candidate's;
    * corners of pieces in place (as in M) and boxes of pieces, of the same rows; boxes are
      the columns x0, y0, x1, y1, and those up to the next multiple of LANES are empty;
    * weights of pairs (parts, parts) and of strays (parts,);
    * overlaps (parts, parts) and strays (parts,), both times the sizes of the parts;
    * scratch for one piece;
    * parts around one part, and parts near it, 6 columns each: box; what overlap costs, per
      mm; the number of the part. Boxes up to the next multiple of LANES are empty;
    * parting edges (parts, pieces, pieces), of the part being tried and each other one: which
      edges last parted two pieces, see :mod:`nest.place.kernels.overlap`.
``R`` uint64 (1,), one per worker
    State of the random numbers.
"""

from __future__ import annotations

from nest.compiled import kernel

# The head of I.
N_PARTS, N_ANGLES, N_COLS, N_ROWS = 0, 1, 2, 3  # columns and rows of the bins
N_STRETCH_COLS, N_STRETCH_ROWS = 4, 5
N_CORNERS, N_PIECES = 6, 7  # most corners and pieces of a type: rows of the tables in place
N_AROUND = 8  # rows of the columns of parts around
AT_KINDS, AT_TYPES, AT_PIECES, AT_REGIONS, AT_BINS = 9, 10, 11, 12, 13  # in I
AT_TYPE_M, AT_GRIDS, AT_ANGLES, AT_STRETCH = 14, 15, 16, 17  # in M
AT_PLACED, AT_BOXES, AT_PAIR_WEIGHTS, AT_OWN_WEIGHTS = 18, 19, 20, 21  # in S
AT_OVERLAPS, AT_STRAYS, AT_SCRATCH, AT_AROUND, AT_PARTING = 22, 23, 24, 25, 26
HEAD = 27

# The head of S: parameters. Poses follow at F_SIZE.
F_X0, F_Y0, F_X1, F_Y1 = 0, 1, 2, 3  # box of the container; in a strip parts stay inside it
F_FRONT = 4  # parts may not reach beyond this x
F_CELL, F_GX, F_GY = 5, 6, 7  # grid of G: cell size and first node
F_TURN_CELL = 8  # cell size of stretch (same first node)
F_BIN = 9  # cell size of bins (same first node)
F_STRIP = 10  # 1: the container is the box alone; 0: it is ground
F_LISTED = 11  # 1: all angles come from lists, and pairs of them have half-planes
F_TOUCH = 12  # mm; depth below which pieces count as touching
F_COUNT = 13  # candidate poses looked at
F_AROUND, F_NEAR = 14, 15  # how many parts are around one part, and near it: see look_around
F_NEAR_X0, F_NEAR_Y0, F_NEAR_X1, F_NEAR_Y1 = 16, 17, 18, 19  # box beyond which near is not enough
F_SIZE = 20

GRID_SLACK = 1.6  # cells; the grid's own error (0.83) and that of interpolation (0.71)

TYPE, PIECE, REGION = 6, 3, 5  # row lengths in I
TYPE_M, CORNER, CIRCLE, ANGLE, PAIR, PLANE, GRID, EDGE = 4, 5, 3, 6, 6, 3, 9, 7  # in M
POSE, AROUND = 11, 6  # in S


@kernel
def type_of(i, I):
    """The type of part i."""
    return I[I[AT_KINDS] + i]


@kernel
def pieces_of(t, I):
    """First piece of a type, and how many it has."""
    row = I[AT_TYPES] + TYPE * t
    return I[row], I[row + 1]


@kernel
def regions_of(t, I):
    """First region of a type, and the one after its last."""
    row = I[AT_TYPES] + TYPE * t
    return I[row + 2], I[row + 2] + I[row + 3]


@kernel
def angles_of(t, I):
    """First listed angle of a type, and how many it has; 0: any angle within the window."""
    row = I[AT_TYPES] + TYPE * t
    return I[row + 4], I[row + 5]


@kernel
def scale_of(t, I, M):
    """4th root of a type's area, √mm; its square is called the size, mm."""
    return M[I[AT_TYPE_M] + TYPE_M * t]


@kernel
def reach_of(t, I, M):
    """How far a type reaches from its origin, mm."""
    return M[I[AT_TYPE_M] + TYPE_M * t + 1]


@kernel
def window_of(t, I, M):
    """How far a type may be turned off the direction of least stretch, rad."""
    return M[I[AT_TYPE_M] + TYPE_M * t + 2]


@kernel
def axis_of(t, I, M):
    """The direction in a type that lies along that of least stretch, rad."""
    return M[I[AT_TYPE_M] + TYPE_M * t + 3]


@kernel
def corners_of(k, I):
    """Offset in M of the corners of piece k, and how many it has."""
    row = I[AT_PIECES] + PIECE * k
    return I[row], I[row + 1]


@kernel
def placed_corners(s, k, I):
    """Offset in S of the corners of piece k in row s, and how many it has."""
    row = I[AT_PIECES] + PIECE * k
    return I[AT_PLACED] + CORNER * (s * I[N_CORNERS] + I[row + 2]), I[row + 1]


@kernel
def placed_boxes(s, I):
    """Offset in S of the boxes of the pieces in row s: the first of four columns of N_PIECES."""
    return I[AT_BOXES] + 4 * s * I[N_PIECES]


@kernel
def pose_of(s, S):
    """x, y, turn and flip of row s, as they are told in X."""
    p = F_SIZE + POSE * s
    return S[p + 4], S[p + 5], S[p + 6], S[p + 7]


@kernel
def frame_of(s, S):
    """Place of row s, cosine and sine of its angle."""
    p = F_SIZE + POSE * s
    return S[p + 4], S[p + 5], S[p + 8], S[p + 9]


@kernel
def angle_of(s, S):
    """Number of the listed angle of row s."""
    return int(S[F_SIZE + POSE * s + 10])


@kernel
def box_of(s, S):
    """The box of row s: x0, y0, x1, y1."""
    p = F_SIZE + POSE * s
    return S[p], S[p + 1], S[p + 2], S[p + 3]


@kernel
def set_box(s, x0, y0, x1, y1, S):
    """Write the box of row s."""
    p = F_SIZE + POSE * s
    S[p], S[p + 1], S[p + 2], S[p + 3] = x0, y0, x1, y1


@kernel
def box_at_angle(a, x, y, I, M):
    """The box of a part at place (x, y) and listed angle a: x0, y0, x1, y1."""
    row = I[AT_ANGLES] + ANGLE * a
    return M[row + 2] + x, M[row + 3] + y, M[row + 4] + x, M[row + 5] + y


@kernel
def of_pair(table, i, j, I):
    """Offset in S of what a table (parts, parts) says of two parts."""
    return I[table] + i * I[N_PARTS] + j
