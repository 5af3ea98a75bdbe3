# The shared library libkeelblock: every stage's objects in one, exporting what headers mark KB_API.
get_property(stages GLOBAL PROPERTY KB_STAGE_TARGETS)
get_property(needs GLOBAL PROPERTY KB_STAGE_NEEDS)
list(REMOVE_DUPLICATES needs)
set(objects "")
foreach(stage IN LISTS stages)
  list(APPEND objects $<TARGET_OBJECTS:${stage}>)
endforeach()

add_library(kb_shared SHARED ${objects})
target_link_libraries(kb_shared PRIVATE kb_flags ${needs})
configure_file(${CMAKE_CURRENT_LIST_DIR}/libkeelblock.map.in libkeelblock.map @ONLY)
target_link_options(kb_shared PRIVATE LINKER:--as-needed LINKER:-O1
  LINKER:--version-script=${PROJECT_BINARY_DIR}/libkeelblock.map)
if(NOT KB_SANITIZE)
  target_link_options(kb_shared PRIVATE LINKER:--no-undefined)
endif()
set_target_properties(kb_shared PROPERTIES
  OUTPUT_NAME keelblock
  LINKER_LANGUAGE C
  VERSION ${PROJECT_VERSION}
  SOVERSION ${PROJECT_VERSION_MAJOR})
