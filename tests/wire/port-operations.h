/*
 * The table of operations that a libgphoto2 port library hands over. The header that declares it is not part of the
 * development package, so it is declared here: member for member as in gphoto2-port-library.h of libgphoto2_port 0.12
 * (libgphoto2 2.5.30). The order is the contract; a wrong one crashes.
 */
#ifndef PORT_OPERATIONS_H
#define PORT_OPERATIONS_H

#include <gphoto2/gphoto2-port-info-list.h>
#include <gphoto2/gphoto2-port.h>

typedef int (*PortControlMessage)(GPPort *port, int request, int value, int index, char *bytes, int size);

typedef struct _GPPortOperations {
	int (*init)(GPPort *port);
	int (*exit)(GPPort *port);
	int (*open)(GPPort *port);
	int (*close)(GPPort *port);
	int (*read)(GPPort *port, char *bytes, int size);
	int (*check_int)(GPPort *port, char *bytes, int size, int timeout_ms);
	int (*write)(GPPort *port, const char *bytes, int size);
	int (*update)(GPPort *port);

	/* Serial ports only. */
	int (*get_pin)(GPPort *port, GPPin pin, GPLevel *level);
	int (*set_pin)(GPPort *port, GPPin pin, GPLevel level);
	int (*send_break)(GPPort *port, int duration);
	int (*flush)(GPPort *port, int direction);

	/* USB ports only. */
	int (*find_device)(GPPort *port, int vendor, int product);
	int (*find_device_by_class)(GPPort *port, int device_class, int subclass, int protocol);
	int (*clear_halt)(GPPort *port, int endpoint);
	PortControlMessage msg_write;
	PortControlMessage msg_read;
	PortControlMessage msg_interface_write;
	PortControlMessage msg_interface_read;
	PortControlMessage msg_class_write;
	PortControlMessage msg_class_read;

	/* Disk ports only. */
	int (*seek)(GPPort *port, int offset, int whence);
	int (*send_scsi_cmd)(GPPort *port, int to_device, char *command, int command_size, char *sense, int sense_size,
			     char *data, int data_size);

	int (*reset)(GPPort *port);
} GPPortOperations;

/* What a port library exports. */
GPPortType gp_port_library_type(void);
int gp_port_library_list(GPPortInfoList *list);
GPPortOperations *gp_port_library_operations(void);

#endif
