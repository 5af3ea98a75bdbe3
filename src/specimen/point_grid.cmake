# Turns refs/e562_grid.csv (FROM) into a C table (TO), so that there is one copy of the values.
file(STRINGS "${FROM}" rows REGEX "^[0-9]")
set(entries "")
foreach(row IN LISTS rows)
  if(NOT row MATCHES "^([0-9.]+),[0-9.]+,([0-9]+),")
    message(FATAL_ERROR "${FROM}: cannot be read: ${row}")
  endif()
  string(APPEND entries "    {${CMAKE_MATCH_1}, ${CMAKE_MATCH_2}},\n")
endforeach()
if(entries STREQUAL "")
  message(FATAL_ERROR "no grids in ${FROM}")
endif()
file(WRITE "${TO}" "/* Made from refs/e562_grid.csv; sparsest phase first. */
#include \"specimen_priv.h\"

const struct kb_specimen_grid kb_specimen_grids[] = {
${entries}};
const size_t kb_specimen_grid_count = sizeof kb_specimen_grids / sizeof *kb_specimen_grids;
")
